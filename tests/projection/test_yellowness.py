"""Yellowness index from L*, a*, b* of one panel, moment and surface state."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import aging
from aging.optics.colour import Conditions, colour_of_readings, yellowness_index
from aging.projection.yellowness import completed
from aging.simulation import Design, simulate
from aging.spectra import LAB

COLOURS = simulate(
    Design(
        formulations=Design().formulations[:2], sites=Design().sites[:2], months=12,
        properties=LAB, missing_reading=0.0,
    ), seed=3,
).exposure  # fmt: skip
NAME = "yellowness_index"
KEYS = ["panel", "read_on", "surface_state"]


def with_readings(readings: pd.DataFrame):
    return replace(COLOURS, readings=readings)


def made(exposure) -> pd.DataFrame:
    readings = completed(exposure)[0].readings
    return readings[readings["property"] == NAME].set_index(KEYS)


def test_the_index_is_that_of_the_three_readings():
    found, notes = completed(COLOURS)
    index = made(COLOURS)
    lab = COLOURS.readings.pivot_table(index=KEYS, columns="property", values="value")
    assert len(index) == len(lab) > 30
    assert notes == (f"{len(lab)} yellowness indices calculated from L*, a*, b* (ASTM E313)",)
    colour = colour_of_readings(lab.loc[index.index, list(LAB)], Conditions("D65", 10))
    assert index["value"].to_numpy() == pytest.approx(yellowness_index(colour))
    assert set(index["illuminant"]) == {"D65"}
    assert index["instrument"].notna().all()
    assert found.readings.iloc[: len(COLOURS.readings)].equals(COLOURS.readings)


def test_what_was_measured_is_kept_and_the_rest_filled():
    rows = COLOURS.readings[COLOURS.readings["property"] == "b_star"].iloc[:3]
    measured = rows.assign(property=NAME, value=99.0, reading_id=["a", "b", "c"])
    readings = pd.concat([COLOURS.readings, measured], ignore_index=True)
    index = made(with_readings(readings))
    assert index.index.is_unique
    assert len(index) == len(made(COLOURS))
    assert (index["value"] == 99.0).sum() == 3
    other = measured.assign(illuminant="C", observer_deg=2.0)
    mixed = made(with_readings(pd.concat([COLOURS.readings, other], ignore_index=True)))
    sites = COLOURS.panels.set_index("panel")["site"]
    here = sites[rows["panel"]].iloc[0]
    at = sites[mixed.index.get_level_values("panel")].to_numpy()
    assert (mixed["value"][at == here] == 99.0).all()  # its site mixes nothing
    assert (at != here).any()


@pytest.mark.parametrize(
    "lack",
    [
        {"illuminant": np.nan},
        {"illuminant": "A"},
        {"property": "lightness"},
        {"evidence": "slurry"},
    ],
)
def test_without_one_known_light_or_all_three_nothing_is_calculated(lack):
    exposure = with_readings(COLOURS.readings.assign(**lack))
    same, notes = completed(exposure)
    assert same is exposure
    assert notes == ()


def test_an_excluded_reading_yields_none():
    gone = COLOURS.readings.loc[COLOURS.readings["property"] == "b_star", "reading_id"].iloc[0]
    settled = pd.DataFrame(
        {"finding": ["f"], "rule": ["spread"], "reading_id": [gone], "decision": ["excluded"],
         "reason": ["dropped"]}
    )  # fmt: skip
    assert len(made(replace(COLOURS, settlements=settled))) == len(made(COLOURS)) - 1


def test_a_yellowness_that_was_not_read_projects():
    found = aging.project(COLOURS, 12, property=NAME)
    assert found.notes[0].endswith("calculated from L*, a*, b* (ASTM E313)")
    rows = found.frame.query("target == 'state' and site == 'AMARO'")
    assert (rows["estimate"].between(rows["lower"], rows["upper"])).all()
    last = made(COLOURS).reset_index()
    last = last[last["read_on"] > "2022-03-01"]
    last = last.merge(COLOURS.panels[["panel", "formulation", "site", "kind"]], on="panel")
    last = last.query("site == 'AMARO' and kind == 'exposed'")
    read = last.groupby("formulation")["value"].mean()
    assert rows.set_index("formulation")["estimate"].to_dict() == pytest.approx(
        read.to_dict(), abs=1.0
    )
