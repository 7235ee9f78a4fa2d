"""Doubts are settled on their page, a panel's story and the instruments are those of the store."""

from __future__ import annotations

import json
import shutil

import pytest
from app_page import opened, texts

from aging.checks import check, settle
from aging.fieldwork.story import kept, story
from aging.ledger import open_ledger
from aging.records import exposure_with
from aging.source import open_source
from dashboard import keeping_words as wording

PANEL, OTHER = "AMARO-S8H30-1", "AMARO-S0H0-2"


@pytest.fixture(scope="module")
def made(folder, tmp_path_factory):
    """A store of the small folder with two readings far off, a wash, and an overdue instrument."""
    exposure = open_source(folder)
    readings = exposure.readings
    odd = []
    for panel in (PANEL, OTHER):
        mine = readings[(readings["panel"] == panel) & (readings["property"] == "solar_reflectance")
                        & (readings["surface_state"] == "as_exposed")]  # fmt: skip
        odd.append(mine.sort_values("read_on")["reading_id"].iloc[3])
    readings.loc[readings["reading_id"].isin(odd), "value"] -= 0.12
    rated = readings[(readings["panel"] == OTHER) & (readings["property"] == "chalking_astm")]
    odd.append(rated["reading_id"].iloc[-1])
    readings.loc[readings["reading_id"] == odd[2], "surface_wetness"] = "wet"
    name = readings.loc[readings["reading_id"] == odd[0], "instrument"].iloc[0]
    path = tmp_path_factory.mktemp("keeping") / "a.sqlite"
    with open_ledger(path, create=True) as book:
        book.append(exposure, by="desk", source="t")
        tool = {"instrument": name, "calibration_due": "2019-01-01", "tile_value": 0.86}
        tiles = [{"instrument": name, "at": f"2025-0{month}-02T09:00", "stage": "before",
                  "value": 0.86 + 0.001 * month} for month in range(1, 8)]  # fmt: skip
        book.append(exposure_with("instruments", [tool]), by="desk", source="t")
        book.append(exposure_with("instrument_checks", tiles), by="desk", source="t")
        event = {"on": "2026-01-05", "kind": "wash", "panel": PANEL, "remark": "*by* mistake"}
        book.append(exposure_with("events", [event]), by="desk", source="t")
    return path, odd


@pytest.fixture
def store(made, tmp_path):
    shutil.copy(made[0], tmp_path / "a.sqlite")
    return tmp_path / "a.sqlite"


def visit_of(store, reading_id):
    frame = check(open_source(store)).open
    row = frame[(frame["reading_id"] == reading_id) & (frame["rule"] != "calibration")].iloc[0]
    return f"{row['site']}, {row['read_on'][:10]}", row["finding"]


def test_a_doubt_shows_its_panel_and_is_settled_once(made, store, monkeypatch):
    visit, finding = visit_of(store, made[1][0])
    app = opened(monkeypatch, store, "doubts", visit=visit)
    shown = {metric.label: metric.value for metric in app.metric}
    found = check(open_source(store)).open.drop_duplicates("finding")
    assert (
        shown[wording.SEVERITIES["confirm"]] == str((found["severity"] == "confirm").sum()) != "0"
    )
    assert sum(map(int, shown.values())) == len(found)
    spec = next(json.loads(chart.proto.spec) for chart in app.get("vega_lite_chart"))
    assert spec["description"].endswith("marked.")
    assert "What to do" in texts(app)

    app.button(key=f"do {finding}").click().run()
    assert "reason" in texts(app)  # none was given
    app.radio(key=f"as {finding}").set_value("corrected")
    app.number_input(key=f"value {finding}").set_value(0.777)
    app.text_input(key=f"by {finding}").set_value("lead")
    app.text_input(key=f"why {finding}").set_value("typed wrongly")
    app.button(key=f"do {finding}").click().run()
    assert not app.exception
    assert [one.value for one in app.success] == [wording.DONE]
    with open_ledger(store) as book:
        ever = book.history()
        last = book.recorded("settlements").iloc[-1]
    new = ever[ever["supersedes"] == made[1][0]]
    assert new["value"].tolist() == [0.777]
    assert (last["decision"], last["recorded_by"]) == ("corrected", "lead")
    settled = next(one.value for one in app.dataframe if "decision" in one.value)
    assert settled["reason"].tolist() == ["typed wrongly"]
    assert f"do {finding}" not in {button.key for button in app.button}


def test_what_another_settled_meanwhile_is_not_settled_again(made, store, monkeypatch):
    visit, finding = visit_of(store, made[1][1])
    app = opened(monkeypatch, store, "doubts", visit=visit)
    app.text_input(key=f"by {finding}").set_value("lead")
    app.text_input(key=f"why {finding}").set_value("looked: it is so")
    with open_ledger(store) as book:
        found = check(book.read())
        settle(book, found, finding, "excluded", reason="gull", by="other")
    app.button(key=f"do {finding}").click().run()
    assert not app.exception
    with open_ledger(store) as book:
        assert book.recorded("settlements")["decision"].unique().tolist() == ["excluded"]
        app.text_input(key="why reopened").set_value("second thoughts")
        app.text_input(key="by reopened").set_value("lead")
        app.button(key="reopen it").click().run()
        assert not app.exception
        assert set(book.read().settlements["decision"]) == {"reopened"}
        frame = check(book.read()).open
    assert finding in set(frame["finding"])


def test_a_rating_is_corrected_in_its_own_steps(made, store, monkeypatch):
    visit, finding = visit_of(store, made[1][2])
    app = opened(monkeypatch, store, "doubts", visit=visit)
    box = app.number_input(key=f"value {finding}")
    assert (box.min, box.max, box.step) == (0, 10, 1)
    assert wording.SEVERITIES["block"] in [one.value for one in app.header]


def test_a_folder_shows_its_doubts_and_says_how_to_settle_them(folder, monkeypatch):
    app = opened(monkeypatch, folder, "doubts")
    assert wording.NEEDS_STORE in texts(app)
    assert not [one for one in app.button if one.key and one.key.startswith("do ")]
    found = check(open_source(folder)).open["finding"].nunique()
    assert sum(int(metric.value) for metric in app.metric) == found


def test_a_visit_can_be_had_as_a_report(store, monkeypatch):
    app = opened(monkeypatch, store, "doubts", site="AMARO")
    assert {one.proto.label for one in app.get("download_button")} == {
        wording.REPORT_HTML, wording.REPORT_PDF,
    }  # fmt: skip


def test_the_address_opens_a_panels_story(store, monkeypatch):
    app = opened(monkeypatch, store, "story", panel=PANEL)
    assert app.selectbox(key="panel").value == PANEL
    exposure = open_source(store)
    told = story(exposure, PANEL, kept(store, exposure), check(exposure))
    entries, readings = (one.value for one in app.dataframe[:2])
    assert entries["what"].tolist() == told.entries["what"].tolist()
    assert "*by* mistake, its unwashed series ends" in set(entries["what"])
    assert readings["why"].tolist() == told.readings["why"].tolist()
    figures = {metric.label: metric.value for metric in app.metric}
    assert figures[wording.LEFT_OUT] == str((told.readings["standing"] == "left out").sum())
    assert int(figures[wording.LEFT_OUT]) > 0
    spec = json.loads(app.get("vega_lite_chart")[0].proto.spec)
    assert spec["description"] in texts(app)
    assert spec["description"].startswith(f"{PANEL}: ")


def test_a_reading_is_corrected_on_its_panels_story(store, monkeypatch):
    app = opened(monkeypatch, store, "story", panel=OTHER)
    app.text_input(key="why corrected").set_value("notebook")
    app.text_input(key="by corrected").set_value("lead")
    app.button(key="correct it").click().run()
    assert "the value it should have been" in texts(app)
    app.number_input(key="new value").set_value(0.7)
    app.button(key="correct it").click().run()
    assert not app.exception
    with open_ledger(store) as book:
        ever = book.history()
    assert ever.loc[ever["supersedes"].notna(), ["value", "reason"]].to_numpy().tolist() == [
        [0.7, "notebook"]
    ]
    kinds = app.dataframe[0].value["kind"].tolist()
    assert kinds[-1] == "corrected"


def test_instruments_tell_what_is_overdue_and_what_drift_the_projection_takes_off(
    store, monkeypatch
):
    app = opened(monkeypatch, store, "instruments")
    assert app.dataframe[0].value["state"].tolist() == ["overdue"]
    assert "1 overdue" in texts(app)
    spec = json.loads(app.get("vega_lite_chart")[0].proto.spec)
    assert spec["description"] in texts(app)
    known = app.selectbox(key="instrument").value
    read_on = spec["layer"][-1]["encoding"]["color"]["scale"]["domain"]
    assert any(name.startswith("tile") for name in read_on)
    assert not all(name.startswith("tile") for name in read_on)  # file specimens too
    assert known in texts(app)
    assert "the projection takes that off its readings" in texts(app)
