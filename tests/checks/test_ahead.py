"""The rule of the projection questions what was not foretold, and only that."""

from __future__ import annotations

from dataclasses import replace

import pytest

from aging.checks import check
from aging.projection import gather
from aging.simulation import STUDY, simulate

DESIGN = replace(
    STUDY, sites=STUDY.sites[:1], formulations=STUDY.formulations[:2], visits=(0, 1, 2, 4, 6, 9),
    missing_visit=0.0, missing_reading=0.0,
)  # fmt: skip


@pytest.fixture(scope="module")
def exposure():
    return simulate(DESIGN, 4).exposure


def ahead(exposure):
    frame = check(exposure, gathered=gather(exposure)).frame
    return frame[frame["rule"] == "ahead"]


def last_visit(exposure):
    readings = exposure.readings
    return readings.index[readings["read_on"] == readings["read_on"].max()]


def test_one_panel_far_off_is_found_and_the_others_are_not(exposure):
    assert ahead(exposure).empty
    readings = exposure.readings.copy()
    odd = last_visit(exposure)[0]
    readings.loc[odd, "value"] -= 0.12
    found = ahead(replace(exposure, readings=readings))
    assert found["reading_id"].tolist() == [readings.loc[odd, "reading_id"]]
    assert "foretold" in found["allowed"].iloc[0]


def test_a_whole_visit_off_is_one_finding(exposure):
    readings = exposure.readings.copy()
    readings.loc[last_visit(exposure), "value"] -= 0.12
    found = ahead(replace(exposure, readings=readings))
    assert len(found) == 6
    assert len(set(found["finding"])) == 1
