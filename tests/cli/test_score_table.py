"""The command's figures are those of the public interface, at 80 columns and as JSON."""

from __future__ import annotations

import json

import pytest

import aging
from aging.cli import app, output


def test_the_table_shows_the_board(folder, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr(output, "watched", lambda: True)
    assert app(["backtest", str(folder), "--cuts", "6,9"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    board = aging.backtest(folder, cuts=[6, 9]).board
    assert sum(line.startswith(" known to month") for line in lines) == 2
    for name, digits in (("abs_error", 3), ("coverage", 2), ("n_missing", 0)):
        wanted = board.query("cut == 6 and forecaster == 'last value'")[name].item()
        row = next(line for line in lines if "last value" in line)
        assert f"{wanted:.{digits}f}" in row.split()
    first = next(i for i, line in enumerate(lines) if "known to month" in line)
    assert lines[first + 1].split()[0] == "model"
    assert any("90 % is promised" in line for line in lines)


def test_json_holds_every_forecast(folder, capsys):
    call = ["backtest", str(folder), "--cuts", "6", "--level", "0.8", "--json", "-"]
    assert app([*call, "--no-baselines"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert {row["forecaster"] for row in told["board"]} == {"model"}
    assert len(told["scores"]) == told["board"][0]["n_forecasts"] == 2 * 3
    assert {row["level"] for row in told["scores"]} == {0.8}
    assert all(row["lower"] < row["estimate"] < row["upper"] for row in told["scores"])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--cuts", "soon"], "--cuts: 'soon'"),
        (["--cuts", "-1"], "cuts"),
        (["--cuts", "48"], "earlier cuts"),
        (["--level", "95"], "level"),
        (["--property", "shine"], "shine"),
    ],
)
def test_a_wrong_call_ends_in_one_line(folder, capsys, words, told):
    assert app(["backtest", str(folder), *words]) == 2
    line = capsys.readouterr().err
    assert told in line
    assert line.count("\n") == 1
