"""A visit on the page: what is asked, what is saved, and nothing lost when the link is."""

from __future__ import annotations

import json
import shutil
from datetime import time as clock
from pathlib import Path

import pytest
from rack_example import fill, stored
from streamlit.testing.v1 import AppTest

from aging.fieldwork.labels import entry_address
from aging.fieldwork.patches import WEIGHTING
from aging.ledger import open_ledger
from dashboard import log
from dashboard import log_words as wording
from dashboard.launch import APP, SOURCE


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> Path:
    return fill(tmp_path_factory.mktemp("rack"))


@pytest.fixture
def store(filled, tmp_path) -> Path:
    return Path(shutil.copy(filled, tmp_path / "trial.sqlite"))


@pytest.fixture
def page(store, monkeypatch):
    monkeypatch.setenv(SOURCE, str(store))
    log.known.clear()
    log.sheet.clear()

    def run(**query: str) -> AppTest:
        app = AppTest.from_file(str(APP.parent / "views" / "log.py"), default_timeout=120)
        for key, value in query.items():
            app.query_params[key] = value
        return checked(app)

    return run


def checked(app: AppTest) -> AppTest:
    app.run()
    assert not app.exception
    return app


def by_label(widgets, label: str):
    return next(one for one in widgets if one.label == label)


def texts(app: AppTest) -> str:
    return "\n".join(str(one.value) for one in app.text)


def settle(app: AppTest, operator="anna", state="as_exposed", wetness="dry") -> AppTest:
    by_label(app.selectbox, wording.OPERATOR).set_value(operator)
    checked(app)
    by_label(app.button_group, wording.STATE).set_value(state)
    by_label(app.button_group, wording.WETNESS).set_value(wetness)
    by_label(app.selectbox, wording.INSTRUMENT + "Solar reflectance").set_value("SR-1, G173")
    return checked(app)


def tap(app: AppTest, label: str) -> AppTest:
    by_label(app.button, label).click()
    return checked(app)


def type_in(app: AppTest, text: str, label: str = "Solar reflectance") -> AppTest:
    by_label(app.text_input, label).set_value(text)
    return checked(app)


def at_hour(app: AppTest, hour: int) -> None:
    by_label(app.time_input, wording.PYRANOMETER_AT).set_value(clock(hour))
    checked(app)


def test_files_cannot_take_readings_and_the_page_says_how_they_can(folder, monkeypatch):
    monkeypatch.setenv(SOURCE, str(folder))
    app = checked(AppTest.from_file(str(APP.parent / "views" / "log.py"), default_timeout=120))
    assert wording.NEEDS_STORE in texts(app)
    assert "aging load" in app.code[0].value
    assert not app.text_input


def test_the_address_of_a_label_opens_its_panel(page):
    address = entry_address("http://rack-pc:8501", "P3")
    assert address.endswith("/log?panel=P3")
    app = page(panel="P3")
    chosen = {one.label: one.value for one in app.selectbox}
    assert (chosen["Site"], chosen["Panel"]) == ("HILL", "P3")
    assert page(panel="Y1").selectbox[0].value == "YARD"
    assert wording.UNKNOWN_PANEL + "P99" in texts(page(panel="P99"))


def test_a_reading_is_worked_out_asked_for_and_saved(page, store):
    app = tap(type_in(page(panel="P1"), "0,71 0.70 0.72"), wording.SAVE)
    assert "Mean 0.710, SD 0.0100, range 0.020; 3 of 3 spots. Last 0.720" in texts(app)
    told = texts(app)[texts(app).index(wording.LACKING) :]
    assert all(word in told for word in ("who reads", "surface state", "is", "instrument"))
    assert stored(store).empty
    tap(settle(app), wording.SAVE)  # what was typed first still stands there
    assert "Saved: 0.710, SD 0.0100 by anna" in texts(app)
    assert by_label(app.text_input, "Solar reflectance").value == ""
    tap(app, wording.SAVE)
    assert wording.NO_VALUE in texts(app)
    (row,) = stored(store).to_dict("records")
    assert (row["spot_values"], row["surface_wetness"]) == ("0.71 0.7 0.72", "dry")
    assert (row["instrument"], row["weighting"]) == ("SR-1", "G173")
    assert "1 read" in texts(app)
    assert by_label(app.selectbox, "Panel").value == "P1"
    assert by_label(tap(app, wording.NEXT).selectbox, "Panel").value == "P2"


def test_percent_is_divided_and_a_fall_is_kept_with_a_reason(page, store):
    app = type_in(settle(page(panel="P1")), "55 0.54 56")
    tap(app, wording.DIVIDE)
    assert by_label(app.text_input, "Solar reflectance").value == "0.55 0.54 0.56"
    tap(app, wording.SAVE)
    assert wording.UNANSWERED in texts(app)
    assert "fell faster" in texts(app)
    assert stored(store).empty
    by_label(app.selectbox, wording.KEEP).set_value(wording.REASONS[0])
    tap(checked(app), wording.SAVE)
    (row,) = stored(store).to_dict("records")
    kept = json.loads(json.loads(row["extra"])["kept"])
    assert kept == [{"rule": "fell-fast", "reason": wording.REASONS[0]}]
    with open_ledger(store) as book:
        assert book.read().settlements["decision"].tolist() == ["confirmed"]


def test_a_wet_panel_is_turned_away_and_no_number_named(page, store):
    app = tap(type_in(settle(page(panel="P1"), wetness="wet"), "0.71"), wording.SAVE)
    assert "read it again when dry" in texts(app)
    assert "O.71: no number" in texts(type_in(app, "O.71"))
    assert stored(store).empty


def test_two_people_are_told_of_each_other_and_one_corrects(page, store):
    mine, theirs = page(panel="P1"), page(panel="P1")
    for app, who, text in ((mine, "anna", "0.71"), (theirs, "bert", "0.70")):
        type_in(settle(app, who), text)
    tap(mine, wording.SAVE)
    tap(theirs, wording.SAVE)
    assert wording.ASKS in texts(theirs)
    assert "by anna" in texts(theirs)
    assert stored(store)["value"].tolist() == [0.71]
    by_label(theirs.button_group, wording.AGAIN).set_value(wording.CORRECT)
    tap(checked(theirs), wording.SAVE)
    assert wording.NO_REASON in texts(theirs)
    by_label(theirs.text_input, wording.REASON).set_value("misread")
    tap(checked(theirs), wording.SAVE)
    rows = stored(store)
    assert rows["value"].tolist() == [0.71, 0.70]
    assert rows["supersedes"].iloc[1] == rows["reading_id"].iloc[0]
    assert "Saved: 0.700 by bert" in texts(checked(mine))
    by_label(mine.button_group, wording.AGAIN).set_value(wording.ANOTHER)
    tap(type_in(checked(mine), "0.72"), wording.SAVE)
    assert stored(store)["value"].tolist() == [0.71, 0.70, 0.72]


def test_a_rating_has_its_steps_and_its_method(page, store):
    app = page(panel="Y1")
    by_label(app.selectbox, wording.OPERATOR).set_value("anna")
    checked(app)
    by_label(app.button_group, wording.STATE).set_value("as_exposed")
    by_label(app.button_group, wording.WETNESS).set_value("dry")
    steps = by_label(app.button_group, "Chalking (10 none)")
    assert steps.options == [str(step) for step in range(11)]
    steps.set_value(7.0)
    checked(app)
    [*_, save] = [one for one in app.button if one.label == wording.SAVE]
    save.click()
    checked(app)
    (row,) = stored(store).to_dict("records")
    assert (row["property"], row["value"], row["method"]) == ("chalking_astm", 7, "D")


def test_what_was_saved_is_left_out_with_a_reason_and_a_panel_told_lost(page, store):
    app = tap(type_in(settle(page(panel="P1")), "0.71"), wording.SAVE)
    app.session_state[f"folded {wording.TODAY}"] = True
    by_label(checked(app).selectbox, wording.WHICH).set_value(stored(store)["reading_id"].iloc[0])
    tap(checked(app), wording.LEAVE_OUT)
    assert "why it does not count" in texts(app)
    by_label(app.text_input, wording.LEAVE_REASON).set_value("wrong panel")
    tap(checked(app), wording.LEAVE_OUT)
    assert "0 read" not in texts(app)
    assert "6 panels: none read, 6 to read" in texts(app)
    assert len(stored(store)) == 1
    by_label(app.button_group, wording.WHY_NOT).set_value("lost")
    tap(checked(app), wording.SAY_SO)
    assert "1 not read, 5 to read" in texts(app)


def test_a_roof_is_read_in_the_sun_and_spot_by_spot(page, store):
    app = type_in(settle(page(panel="R1")), "0.70 0.72 0.71")
    assert "Read another spot" in texts(app)
    assert "rack A, ponding" in texts(app)
    by_label(app.text_input, wording.PYRANOMETER).set_value("PY-2")
    type_in(app, "900 905 898", wording.UP)
    at_hour(app, 18)
    type_in(app, "630 634 628", wording.DOWN)
    assert "45 degrees from the normal" in texts(app)
    at_hour(app, 12)
    assert "range 0.001; 3 pairs; sun " in texts(app)
    [_, save] = [one for one in app.button if one.label == wording.SAVE]
    save.click()
    checked(app)
    (row,) = stored(store).to_dict("records")
    assert (row["weighting"], row["instrument"], row["spots"]) == (WEIGHTING, "PY-2", 3)
    assert json.loads(row["extra"])["sun_to_normal_deg"] < 25
