"""The first five minutes: the sample, a trial of one's own, a laboratory's files; empty pages."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from pathlib import Path

import pandas as pd
import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from aging.fieldwork.new_trial import Trial, new_trial
from aging.ledger import open_ledger
from aging.source import open_source
from dashboard import load_words, start, start_words
from dashboard.launch import APP, SOURCE

LAB = (
    "Specimen;Date;SR;YI;Remarks\n;;%;;\nS1-A-1;13.03.2026;84,1;2,5;dull\n"
    "S1-C0-1;13.03.2026;86;1,9;\nX9;13.03.2026;80;2;\nS1-C0-2;13.03.2026;8o;2;\n"
)
SITES = pd.DataFrame({"site": ["S1"]})
FORMULATIONS = pd.DataFrame({"formulation": ["C0", "A"], "role": ["control", "candidate"]})


@pytest.fixture(autouse=True)
def nobody_was_here(monkeypatch, tmp_path):
    """A server that nothing was opened on, at this machine alone, with a home of its own."""
    st.cache_resource.clear()
    monkeypatch.delenv(SOURCE, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setattr(start, "is_local", lambda: True)
    yield
    st.cache_resource.clear()


@pytest.fixture
def trial(tmp_path) -> Path:
    path = tmp_path / "own.sqlite"
    made = new_trial(Trial(SITES, FORMULATIONS, "2026-03-01", replicates=2, rows=2, seed=3))
    with open_ledger(path, create=True) as book:
        book.append(made.exposure, by="Ada", source="a test")
    return path


def app_at(view: str = "") -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=120).run()
    if view:
        app.switch_page(f"views/{view}.py").run()
    assert not app.exception
    return app


def texts(app: AppTest) -> list[str]:
    return [str(one.value) for one in app.text]


def press(app: AppTest, label: str) -> AppTest:
    next(one for one in app.button if one.label.startswith(label)).click().run()
    assert not app.exception
    return app


def test_without_a_source_three_ways_are_offered():
    app = app_at()
    assert app.title[0].value == start_words.NO_SOURCE_YET
    assert [one.value for one in app.subheader][:3] == [
        start_words.LOOK, start_words.OWN, start_words.BRING,
    ]  # fmt: skip


def test_a_server_that_others_reach_offers_no_path(monkeypatch):
    monkeypatch.setattr(start, "is_local", lambda: False)
    for view in ("", "begin", "load"):
        app = app_at(view)
        assert not app.text_input
        assert not app.button


def test_the_sample_is_invented_where_no_folder_of_it_lies(monkeypatch, tmp_path, folder):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(start, "write_sample", lambda place: place.symlink_to(folder))
    app = press(app_at(), start_words.OPEN_SAMPLE)
    app.switch_page("views/overview.py").run()
    assert not app.exception
    assert app.metric
    again = app_at("start")  # a page loaded anew stays there
    assert any("sample_exposure.sqlite" in text for text in texts(again))


def test_a_trial_of_ones_own_is_made_once_and_opened(tmp_path):
    app = app_at("begin")
    place = tmp_path / "mine.sqlite"
    app.text_input(key="place of store").set_value(str(place))
    app.text_input(key="by of trial").set_value("Ada")
    app.text_input(key="months of visits").set_value("0, 3, 6.5").run()
    press(app, start_words.MAKE_IT)
    assert [one.value for one in app.success] == [start_words.MADE]
    assert [one.value for one in app.title] == [start_words.NEXT_HEADING]
    made = open_source(place)
    assert len(made.panels) == 2 * (3 + 1)
    assert made.plan["months"].tolist() == [0, 3, 6.5]
    assert made.panels.loc[made.panels["kind"] == "exposed", "position"].nunique() == 6
    again = app_at("begin")
    again.text_input(key="place of store").set_value(str(place))
    again.text_input(key="by of trial").set_value("Bo").run()
    press(again, start_words.MAKE_IT)
    assert any("nothing is overwritten" in text for text in texts(again))


def test_every_page_of_a_trial_without_readings_says_its_own(trial, monkeypatch):
    monkeypatch.setenv(SOURCE, str(trial))
    with start_words.EMPTY.open(encoding="utf-8", newline="") as file:
        told = {row["view"]: row["shows"] for row in csv.DictReader(file)}
    assert len(set(told.values())) == len(told)
    app = app_at()
    views = {file.stem for file in APP.with_name("views").glob("[a-z]*.py")}
    assert set(told) <= views
    for view in sorted(views - {"ways"}):
        app.switch_page(f"views/{view}.py").run()
        assert not app.exception, view
        if view in told and view not in ("due", "leading", "holding"):  # may say it in their way
            assert told[view] in texts(app), view


def test_first_readings_can_be_logged_on_an_empty_trial(trial, monkeypatch):
    monkeypatch.setenv(SOURCE, str(trial))
    app = app_at("log")
    assert "6 panels, 2 of them file specimens: none read, 6 to read." in texts(app)


def handed(app: AppTest, name: str, content: bytes) -> AppTest:
    app.file_uploader(key="files").upload(name, content, "text/csv").run()
    assert not app.exception
    return app


def test_a_laboratorys_file_is_matched_looked_at_and_stored_once(trial, monkeypatch):
    monkeypatch.setenv(SOURCE, str(trial))
    app = handed(app_at("load"), "lab.csv", LAB.encode())
    app.checkbox[0].check().run()
    assert "5 new readings, 0 in the store already, 3 rows refused." in texts(app)
    found = next(one.value for one in app.dataframe if "severity" in one.value)
    assert found[["row", "column", "seen"]].to_numpy().tolist() == [
        [5, "Specimen", "X9"], [6, "SR (%)", "8o"],
    ]  # fmt: skip
    app.text_input(key="by of load").set_value("Ada").run()
    press(app, "Store 5 readings")
    assert "Stored 5 readings; 0 were there already." in texts(app)
    stored = open_source(trial).readings
    assert sorted(stored["value"]) == pytest.approx([0.841, 0.86, 1.9, 2, 2.5])

    other = handed(app_at("load"), "again.csv", LAB.encode())  # another person, the same headers
    assert any(text.startswith("Known from an earlier load") for text in texts(other))
    assert load_words.NOTHING_NEW in texts(other)


def test_a_zip_with_panels_makes_a_new_store(folder, tmp_path):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for file in folder.glob("*.csv"):
            archive.write(file, f"trial/{file.name}")
        archive.writestr("trial/old/panels.csv", "panel\nwrong\n")
    app = app_at("load")
    place = tmp_path / "new.sqlite"
    app.text_input(key="new store of load").set_value(str(place)).run()
    handed(app, "trial.zip", packed.getvalue())
    app.text_input(key="by of load").set_value("Ada").run()
    press(app, "Store ")
    assert len(open_source(place).readings) == len(pd.read_csv(folder / "readings.csv"))


def test_what_a_round_sheet_saved_comes_in_once_and_only_where_its_panels_are(trial, monkeypatch):
    row = {"reading_id": "0f0e0d0c-0000-4000-8000-000000000001", "panel": "S1-A-1", "value": 0.851,
           "property": "solar_reflectance", "read_on": "2026-03-13T09:41", "spots": 3,
           "surface_state": "as_exposed", "surface_wetness": "dry", "operator": "Tess"}  # fmt: skip
    file = {"format": "round-file", "version": 1, "readings": [row], "not_read": []}
    monkeypatch.setenv(SOURCE, str(trial))
    app = handed(app_at("load"), "round.json", json.dumps(file).encode())
    app.text_input(key="by of load").set_value("Ada").run()
    press(app, "Store 1 reading")
    stored = open_source(trial).readings
    assert stored[["reading_id", "value", "operator"]].to_numpy().tolist() == [
        [row["reading_id"], 0.851, "Tess"]
    ]
    again = handed(app_at("load"), "round.json", json.dumps(file).encode())
    assert load_words.NOTHING_NEW in texts(again)
    again.radio(key="load into").set_value(load_words.NEW_STORE).run()
    assert any("store that its panels are in" in text for text in texts(again))
