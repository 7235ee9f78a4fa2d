"""Retention, and what of a loss washing gives back, against simulated washed readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import aging
from aging.errors import CallError
from aging.projection.fit import COLUMNS, LOSS_COLUMNS
from aging.simulation import Design, simulate

PARTS = ["total", "removable", "permanent"]
FEW = Design(formulations=Design().formulations[:2], sites=Design().sites[:2], months=24)
CAMPAIGN = simulate(replace(FEW, washed=(6, 12, 18, 24)), seed=5)


@pytest.fixture(scope="module")
def fitted():
    return aging.fit(CAMPAIGN.exposure)


@pytest.fixture(scope="module")
def unwashed():
    return aging.fit(simulate(FEW, seed=5).exposure)


def test_retention_is_aged_over_initial(fitted):
    retention = fitted.project([0, 24], retention=True).frame
    assert tuple(retention.columns) == COLUMNS
    assert set(retention["property"]) == {"solar_reflectance retention"}
    value = fitted.project([0, 24]).frame
    same = ["site", "formulation", "months", "target", "status", "notes", "n_readings"]
    assert retention[same].equals(value[same])
    new, aged = (value.query("months == @at")["estimate"].to_numpy() for at in (0, 24))
    later = retention.query("months == 24")
    assert later["estimate"].to_numpy() == pytest.approx(aged / new, abs=0.01)
    assert (later["lower"] < later["one_sided_bound"]).all()
    assert (later["one_sided_bound"] < later["estimate"]).all()
    state = retention.query("months == 0 and target == 'state'")
    assert state[["lower", "estimate", "upper"]].to_numpy() == pytest.approx(1.0, abs=1e-12)


def test_the_error_of_the_initial_value_cancels_in_retention(fitted):
    key = "AMARO", "S0H0"
    states, ends = fitted.draws([0, 24])[key]["state"], fitted.tails(0.9, fitted.priors_of([key]))
    shuffled = np.random.default_rng(0).permutation(states[0])
    apart = np.ptp(np.quantile(states[1] / shuffled, ends))
    row = fitted.project(24, retention=True).frame.query(
        "site == 'AMARO' and formulation == 'S0H0' and target == 'state'"
    )
    together = (row["upper"] - row["lower"]).item()
    own = np.ptp(np.quantile(states[1] / states[0], ends))
    assert together == pytest.approx(own, rel=1e-9)
    assert together < apart


def test_a_retention_on_an_interval_scale_is_refused():
    readings = CAMPAIGN.exposure.readings.assign(property="lightness", unit="1")
    exposure = replace(CAMPAIGN.exposure, readings=readings)
    with pytest.raises(CallError, match=r"lightness.*ratio scale"):
        aging.fit(exposure, "lightness").project(36, retention=True)


def test_losses_are_tidy_and_add_up(fitted):
    frame = fitted.losses([12, 36], level=0.8).frame
    assert tuple(frame.columns) == LOSS_COLUMNS
    assert frame["part"].tolist() == PARTS * 2 * 2 * 3
    assert set(frame["property"]) == {"solar_reflectance loss"}
    assert set(frame["level"]) == {0.8}
    assert frame["informed"].all()
    assert not frame["notes"].str.contains("washed").any()
    assert (frame["lower"] < frame["estimate"]).all()
    assert (frame["estimate"] < frame["upper"]).all()
    total, removable, permanent = (
        frame.query("part == @part")["estimate"].to_numpy() for part in PARTS
    )
    assert total == pytest.approx(removable + permanent, abs=0.01)


def test_washed_readings_show_what_a_wash_leaves(fitted):
    """Mean of the washed readings at month 24 against initial minus permanent loss."""
    facts = CAMPAIGN.exposure
    read = facts.readings.merge(facts.panels[["panel", "site", "formulation"]], on="panel")
    washed = read.query("surface_state == 'washed' and read_on > '2023-01-01'")
    means = washed.groupby(["site", "formulation"])["value"].mean()
    new = fitted.project(0).frame.query("target == 'state'").set_index(["site", "formulation"])
    losses = fitted.losses(24).frame.query("part == 'permanent'")
    losses = losses.set_index(["site", "formulation"])
    assert len(means) == 4
    left = new["estimate"] - losses["estimate"]
    assert left[means.index].to_numpy() == pytest.approx(means.to_numpy(), abs=0.02)
    total = fitted.losses(24).frame.query("part == 'total'").set_index(["site", "formulation"])
    assert (total["estimate"] > losses["estimate"] + 0.02)[means.index].all()


def test_without_washed_readings_the_parts_are_the_prior_s_and_say_so(fitted, unwashed):
    frame = unwashed.losses(24).frame
    assert not frame["informed"].any()
    assert frame["notes"].str.contains("never read washed").all()

    widths = [one.losses(24).frame.query("site != 'all'") for one in (unwashed, fitted)]
    widths = [(rows["upper"] - rows["lower"]).groupby(rows["part"]).mean() for rows in widths]
    assert widths[0]["removable"] > 3 * widths[1]["removable"]
    assert widths[0]["total"] < 2 * widths[1]["total"]
    told = frame[frame["site"] == "all"]["notes"].iloc[0]
    assert told.count("never read washed") == 1
