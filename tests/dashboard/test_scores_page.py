"""The score board's numbers are those of the public interface."""

from __future__ import annotations

import json

import pytest
from app_page import opened

import aging
from aging.vocabulary import PROPERTIES
from dashboard import data, wording


@pytest.fixture(scope="module")
def board(folder):
    board = aging.backtest(folder, cuts=data.CUTS, rivals=data.RIVALS).board
    return board.assign(forecaster=board["forecaster"].map(wording.FORECASTERS))


def test_the_page_shows_the_board(folder, board, monkeypatch):
    app = opened(monkeypatch, folder, "scores")
    assert app.selectbox(key="property").options == ["Solar reflectance"]  # none that is derived
    shown = app.dataframe[0].value
    for name in ("coverage", "coverage_lower", "abs_error", "crps", "n_series"):
        assert shown[name].tolist() == pytest.approx(board[name].tolist())
    assert shown["forecaster"].tolist()[:3] == list(wording.FORECASTERS.values())
    held, missed = (json.loads(c.proto.spec) for c in app.get("vega_lite_chart"))
    texts = [text.value for text in app.text]
    assert held["description"] in texts
    assert missed["description"] in texts
    assert f"{100 * board['coverage'].iloc[0]:.0f} % with 6 months known" in held["description"]
    assert f"{board['abs_error'].iloc[0]:.3f}" in missed["description"]
    app.selectbox(key="by").set_value("site").run()
    assert not app.exception
    assert set(app.dataframe[0].value["group"]) == {"AMARO", "KESTREL"}


def test_too_short_a_campaign_is_told_in_words(folder, tmp_path, monkeypatch):
    for file in folder.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    rows = (folder / "readings.csv").read_text(encoding="utf-8").splitlines()
    early = [row for row in rows[1:] if ",2021-0" in row]
    (tmp_path / "readings.csv").write_text("\n".join([rows[0], *early]), encoding="utf-8")
    app = opened(monkeypatch, tmp_path, "scores")
    assert [w.value for w in app.warning] == [wording.CANNOT_MODEL]
    assert "earlier cuts" in "\n".join(text.value for text in app.text)


def test_a_rival_without_any_forecast_leaves_the_sentence_whole(board):
    own = board[board["forecaster"] == wording.FORECASTERS["model"]]
    text = wording.missed(own, PROPERTIES["solar_reflectance"])
    assert "nan" not in text
    assert "with 6 months known" in text
