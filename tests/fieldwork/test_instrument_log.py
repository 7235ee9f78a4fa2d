"""The instrument log: what is due, what is recorded, and a drift that the chart must see."""

from __future__ import annotations

import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from aging import intake
from aging.charts import control_chart as draw
from aging.errors import CallError
from aging.fieldwork.instrument_log import calibrations, control_chart, record_check
from aging.ledger import open_ledger
from aging.records import empty_frame
from aging.vocabulary import property_named


def rows(sheet, *facts):
    frame = empty_frame(sheet)
    return pd.DataFrame(facts, columns=frame.columns).astype(frame.dtypes)


@pytest.fixture(scope="session")
def logged(exposure):
    """Three instruments; SR-1 with a tile and eight rounds on the file specimen, one adrift."""
    instruments = rows(
        "instruments",
        {"instrument": "SR-1", "calibration_due": "2025-12-31", "tile": "T7", "tile_value": 0.83},
        {"instrument": "SR-2", "calibration_due": "2025-09-01"},
        {"instrument": "GL-1"},
    )
    noise = np.random.default_rng(5).normal(0, 0.002, 8)
    noise[-1] = 0.02
    read = [
        {"panel": "F1", "read_on": f"2025-{k + 1:02d}-15", "property": "solar_reflectance",
         "value": 0.85 + step, "surface_state": "as_exposed", "instrument": "SR-1",
         "reading_id": f"f{k}"}
        for k, step in enumerate(noise)
    ]  # fmt: skip
    checks = [
        {"instrument": "SR-1", "at": f"2025-{k + 1:02d}-15T08:00", "stage": "before",
         "value": 0.83 + step}
        for k, step in enumerate(noise[::-1])
    ]  # fmt: skip
    return replace(
        exposure, instruments=instruments, readings=rows("readings", *read),
        instrument_checks=rows("instrument_checks", *checks),
    )  # fmt: skip


def test_calibrations_the_most_pressing_first(logged):
    found = calibrations(logged, "2025-12-05")
    assert found["instrument"].tolist() == ["SR-2", "SR-1", "GL-1"]
    assert found["state"].tolist() == ["overdue", "due soon", "unknown"]
    assert found["days_left"].tolist()[:2] == [-95, 26]
    assert found.loc[1, "last_check"] == pd.Timestamp("2025-08-15T08:00")
    assert calibrations(logged, "2025-09-01")["state"].tolist() == ["due soon", "valid", "unknown"]
    assert calibrations(replace(logged, instruments=empty_frame("instruments")), "2025-09-01").empty


def test_a_check_is_recorded_with_the_tile_s_own_value(logged, tmp_path):
    with open_ledger(tmp_path / "log.sqlite", create=True) as book:
        book.append(logged, by="desk", source="test")
        told = record_check(book, "SR-1", "after", 0.829, at="2025-10-06T15:20", by="anna")
        assert told.stored == 1
        kept = book.read().instrument_checks.iloc[-1]
        assert kept[["instrument", "stage", "tile", "certified", "value"]].tolist() == [
            "SR-1", "after", "T7", 0.83, 0.829,
        ]  # fmt: skip
        again = record_check(book, "SR-1", "after", 0.829, at="2025-10-06T15:20", by="anna")
        assert (again.stored, again.already) == (0, 1)
        for wrong in (
            {"instrument": "XX"}, {"stage": "later"}, {"value": float("nan")}, {"at": "noon"},
        ):  # fmt: skip
            call = {"instrument": "SR-1", "stage": "after", "value": 0.8, "at": "2025-10-06"}
            with pytest.raises(CallError, match=next(iter(wrong))):
                record_check(book, by="anna", **(call | wrong))


def test_the_chart_sees_the_drift_and_nothing_else(logged):
    found = control_chart(logged)
    assert len(found) == 16
    tile, filed = (found[found["kind"] == kind] for kind in ("tile", "file specimen"))
    assert tile["series"].unique().tolist() == ["tile T7"]
    assert (tile["reference"] == 0.83).all()
    first = filed["value"].head(5).mean()
    assert filed["reference"].tolist() == pytest.approx([first] * 8)
    alone = control_chart(replace(logged, instrument_checks=empty_frame("instrument_checks")))
    assert alone["sigma"].unique() == pytest.approx(filed["value"].head(5).std())
    assert alone["verdict"].tolist() == ["inside"] * 7 + ["action"]


def test_a_given_repeatability_rules(logged):
    found = control_chart(logged, repeatability=0.009)
    assert set(found["sigma"]) == {0.009}
    assert found["verdict"].value_counts().to_dict() == {"inside": 14, "warning": 2}
    with pytest.raises(CallError, match="repeatability"):
        control_chart(logged, repeatability=0)


def test_nothing_read_is_an_empty_chart_and_one_reading_has_no_limits(logged):
    assert control_chart(logged, "gloss_60").empty
    lone = replace(logged, readings=logged.readings[:1],
                   instrument_checks=empty_frame("instrument_checks"))  # fmt: skip
    assert control_chart(lone)["verdict"].tolist() == ["unknown"]


def test_the_chart_is_drawn_with_both_limits(logged):
    prop = property_named("solar_reflectance")
    spec = draw(control_chart(logged), prop, description="Tile and file specimen").to_dict()
    assert spec["description"] == "Tile and file specimen"
    rules = [rows for rows in spec["datasets"].values() if rows and "limit" in rows[0]]
    sigma = control_chart(logged)["sigma"].iloc[0]
    assert sorted(row["deviation"] for row in rules[0]) == pytest.approx(
        [-3 * sigma, -2 * sigma, 2 * sigma, 3 * sigma]
    )


def test_a_calibration_may_end_in_years_to_come(folder, tmp_path):
    shutil.copytree(folder, tmp_path / "rack")
    sheet = "instrument,calibration_due\nSR-1,2199-12-31\n"
    (tmp_path / "rack" / "instruments.csv").write_text(sheet)
    read = intake.read(tmp_path / "rack")
    assert not read.findings
    assert calibrations(read.exposure, "2026-01-01")["state"].tolist() == ["valid"]
