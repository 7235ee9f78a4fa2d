from __future__ import annotations

import csv
import dataclasses
import json
import re
import shutil
from pathlib import Path

import pandas as pd
import pytest
from ledger_example import assert_equal, example, frame, only, ordered, reading, with_readings

from aging import intake
from aging.errors import CallError, LedgerError
from aging.ledger import export, open_ledger

SAMPLE = Path(__file__).parents[2] / "sample_exposure"


@pytest.fixture
def ledger(ledger_url):
    """Loads, a changed fact and a chain of corrections by three people."""
    with open_ledger(ledger_url, create=True) as opened:
        opened.append(example(), by="Ada", source="a folder")
        changed = example()
        changed.panels.loc[2, "closed_on"] = "2024-01-10"
        opened.append(changed, by="Ben", source="a folder")
        wrong = reading("P3", "2023-02-01", 0.85)["reading_id"]
        second = opened.correct(wrong, 0.58, by="Ben", reason='"typo", twice', remark="=1+1")
        opened.correct(second, 0.59, by="Zoë", reason="misread;\tmeter")
        yield opened


def loaded(folder, path):
    read = intake.read(folder)
    assert [finding for finding in read.findings if finding.severity == "block"] == []
    with open_ledger(path, create=True) as other:
        other.append(read.exposure, by="Cem", source=str(folder))
        return other.read(), other.history()


def assert_survives(ledger, tmp_path):
    export(ledger, tmp_path / "out")
    facts, past = loaded(tmp_path / "out", tmp_path / "copy.sqlite")
    assert_equal(facts, ledger.read())
    pd.testing.assert_frame_equal(
        ordered("readings", past), ordered("readings", ledger.history()), check_exact=True
    )


def test_an_exported_ledger_loads_into_an_equal_one(ledger, tmp_path):
    assert len(ledger.history()) == len(ledger.read().readings) + 2
    assert_survives(ledger, tmp_path)


def test_no_cell_of_an_export_is_a_formula_and_all_come_back(tmp_path):
    odd = ["=HYPERLINK(1)", "+1 coat", "-1+2", "@SUM(A1)", "'=1", "''=1", "'quoted'", "-"]
    rows = [
        reading("P3", f"2023-03-{day:02}", 0.5)
        | {"remark": text, "extra": json.dumps({"=cmd|' /C calc'!A0": text, "plain": -0.5})}
        for day, text in enumerate(odd, 1)
    ]
    with open_ledger(tmp_path / "odd.sqlite", create=True) as book:
        book.append(with_readings(example(), *rows), by="@Ada", source="test")
        assert_survives(book, tmp_path)
    for file in (tmp_path / "out").rglob("*.csv"):
        for row in csv.reader(file.read_text("utf-8").splitlines()):
            for cell in row:
                assert not re.match(r"[=+@\t\r]|-(?![0-9.]+(e-?[0-9]+)?$)", cell), cell


def test_the_sample_survives_an_export(tmp_path):
    with open_ledger(tmp_path / "aging.sqlite", create=True) as ledger:
        ledger.append(intake.read(SAMPLE).exposure, by="Ada", source="the sample")
        some = ledger.read().readings.query("property == 'solar_reflectance'")["reading_id"]
        for reading_id in some[:5]:
            ledger.correct(reading_id, 0.5, by="Ben", reason="typo")
        assert_survives(ledger, tmp_path)


def test_an_export_loaded_into_its_own_ledger_adds_nothing(ledger, tmp_path):
    export(ledger, tmp_path / "out")
    before = ledger.revision
    receipts = ledger.append(intake.read(tmp_path / "out").exposure, by="Cem", source="out")
    assert sum(r.stored + r.refused for r in receipts) == 0
    assert ledger.revision == before


def test_other_columns_of_later_loads_keep_their_names(tmp_path):
    extras = ('{"b": 1.0, "c": "x"}', '{"a": "y", "b": "12b"}', '{"c": "0012"}')
    rows = [
        reading("P1", f"2023-02-0{day}", 0.8, extra=extra) for day, extra in enumerate(extras, 1)
    ]
    with open_ledger(tmp_path / "aging.sqlite", create=True) as ledger:
        for row in rows:
            one = dataclasses.replace(example(), readings=frame("readings", row))
            ledger.append(one, by="Ada", source="a folder")
        assert_survives(ledger, tmp_path)


def test_the_files_are_plain_csv(ledger, tmp_path):
    export(ledger, tmp_path / "out")
    names = sorted(str(p.relative_to(tmp_path / "out")) for p in (tmp_path / "out").rglob("*.csv"))
    assert names == [
        "claim_ends.csv", "claims.csv", "events.csv", "formulations.csv",
        "instrument_checks.csv", "instruments.csv", "matchings.csv", "operators.csv", "panels.csv",
        "photos.csv", "plan.csv", "readings.csv", "settlements.csv", "sites.csv", "spectra.csv",
        "weather/Kiefernkamp.csv", "weather/Salt_Pan_2.csv",
    ]  # fmt: skip
    data = (tmp_path / "out" / "formulations.csv").read_bytes().decode("utf-8")
    assert data == (
        "formulation,role,description,hollow_sphere_vol_pct,silica_wt_pct\r\n"
        'A0,control,,,\r\nA8,candidate,"\'=8 % silica; ""soft""",15,8\r\n'
    )
    with (tmp_path / "out" / "readings.csv").open(newline="", encoding="utf-8") as file:
        rows = {row["reading_id"]: row for row in csv.DictReader(file)}
    wrong = reading("P3", "2023-02-01", 0.85)["reading_id"]
    assert rows[wrong]["value"] == "0.85"
    assert (rows[f"{wrong}~2"]["supersedes"], rows[f"{wrong}~2"]["recorded_by"]) == (wrong, "Ben")
    assert rows[f"{wrong}~3"]["reason"] == "misread; meter"


def test_sites_whose_files_would_have_one_name_have_two(tmp_path):
    sites = ("a/b", "a?b", "../c")
    days = [{"site": site, "date": "2023-02-01", "rain_mm": 1.5} for site in sites]
    with open_ledger(tmp_path / "aging.sqlite", create=True) as ledger:
        named = frame("sites", *({"site": site} for site in sites))
        weather = only(weather=frame("weather", *days), sites=named)
        ledger.append(
            dataclasses.replace(example(), weather=weather.weather, sites=named),
            by="Ada", source="a folder",
        )  # fmt: skip
        export(ledger, tmp_path / "out")
        assert len(list((tmp_path / "out" / "weather").iterdir())) == 3
        assert not list(tmp_path.glob("*c.csv"))


def test_an_export_takes_no_folder_that_is_in_use(ledger, tmp_path):
    (tmp_path / "used").mkdir()
    (tmp_path / "used" / "notes.txt").write_text("mine")
    for taken in (tmp_path / "used", tmp_path / "used" / "notes.txt"):
        with pytest.raises(CallError, match="not empty"):
            export(ledger, taken)
    assert (tmp_path / "used" / "notes.txt").read_text() == "mine"
    (tmp_path / "free").mkdir()
    export(ledger, tmp_path / "free")
    assert (tmp_path / "free" / "panels.csv").is_file()


def test_an_export_that_breaks_off_leaves_no_folder(ledger, tmp_path, monkeypatch):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pd.DataFrame, "to_csv", full)
    before = sorted(tmp_path.iterdir())
    with pytest.raises(LedgerError, match="No space left"):
        export(ledger, tmp_path / "out")
    assert sorted(tmp_path.iterdir()) == before
    monkeypatch.undo()
    with pytest.raises(LedgerError, match="cannot be written"):
        export(ledger, tmp_path / "no" / "out")
    export(ledger, tmp_path / "out")
    shutil.rmtree(tmp_path / "out")


def test_a_later_word_among_numbers_leaves_the_stored_readings_alone(tmp_path):
    (tmp_path / "panels.csv").write_text("panel,formulation,site,exposed_on\nP1,A,K,2023-01-01\n")
    sheet = tmp_path / "readings.csv"
    sheet.write_text("panel,read_on,property,value,gauge\nP1,2023-02-01,solar_reflectance,0.8,12\n")
    with open_ledger(tmp_path / "aging.sqlite", create=True) as ledger:
        ledger.append(intake.read(tmp_path).exposure, by="Ada", source="a folder")
        sheet.write_text(sheet.read_text() + "P1,2023-03-01,solar_reflectance,0.8,12b\n")
        receipts = ledger.append(intake.read(tmp_path).exposure, by="Ada", source="a folder")
    readings = next(receipt for receipt in receipts if receipt.sheet == "readings")
    assert (readings.stored, readings.already, readings.refused) == (1, 1, 0)
