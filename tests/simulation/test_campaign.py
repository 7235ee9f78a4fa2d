"""A campaign is what its design and seed say, and its truth is what the readings scatter about."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pandas as pd
import pytest

from aging.errors import CallError
from aging.records import SHEETS, empty_frame
from aging.simulation import Design, Scatter, Site, blend, simulate
from aging.simulation.appearance import SIMULATED
from aging.vocabulary import PROPERTIES

NONE = Scatter(**{field.name: 0.0 for field in fields(Scatter)} | {"visit_freedom": 4.0})
SMALL = Design(formulations=(blend(0, 0), blend(8, 30)), months=12, weather=False)


@pytest.fixture(scope="module")
def full():
    return simulate(replace(SMALL, properties=tuple(SIMULATED), washed=(6, 12), weather=True), 5)


def located(exposure):
    panels = exposure.panels.set_index("panel")[["site", "formulation", "kind", "exposed_on"]]
    readings = exposure.readings.join(panels, on="panel")
    days = pd.to_datetime(readings["read_on"]) - pd.to_datetime(readings["exposed_on"])
    return readings.assign(months=(days.dt.days / 30.44).round(2))


def test_equal_seeds_give_equal_campaigns_and_others_do_not():
    one, same, other = (simulate(SMALL, seed) for seed in (1, 1, 2))
    for name, frame in one.exposure.frames():
        pd.testing.assert_frame_equal(frame, getattr(same.exposure, name))
    pd.testing.assert_frame_equal(one.truth, same.truth)
    assert not one.truth["state"].equals(other.truth["state"])


def test_reading_more_properties_leaves_the_others_as_they_were(full):
    alone = simulate(replace(SMALL, washed=(6, 12)), 5).exposure.readings
    among = full.exposure.readings
    among = among[among["property"] == "solar_reflectance"].reset_index(drop=True)
    pd.testing.assert_frame_equal(alone, among)


WRITTEN = {"sites", "formulations", "panels", "readings", "events", "weather"}


def test_frames_are_those_of_the_sheets(full):
    for name, frame in full.exposure.frames():
        empty = empty_frame(name)
        assert list(frame.columns) == list(empty.columns)
        assert frame.dtypes.to_dict() == empty.dtypes.to_dict()
        assert (len(frame) > 0) == (name in WRITTEN)
        for column in SHEETS[name].columns:
            present = frame[column.name].dropna()
            assert len(present) == len(frame) or not column.required
            if column.allowed:
                assert set(present) <= set(column.allowed)
            if column.kind == "number":
                assert present.between(column.low, column.high).all()
    assert not full.exposure.readings["reading_id"].duplicated().any()
    assert not full.exposure.panels["panel"].duplicated().any()


def test_readings_are_rounded_and_possible(full):
    for name, group in full.exposure.readings.groupby("property"):
        prop = PROPERTIES[name]
        assert group["value"].between(prop.usual_low, prop.usual_high).all(), name
        steps = group["value"] / prop.step
        np.testing.assert_allclose(steps, steps.round(), atol=1e-6)
    assert set(full.exposure.readings["property"]) == set(SIMULATED)


def test_mean_of_many_readings_is_the_truth_of_the_visit():
    design = replace(SMALL, formulations=(blend(0, 0),), panels=400, file_specimens=0)
    campaign = simulate(design, 11)
    means = located(campaign.exposure).groupby(["site", "months"])["value"].agg(["mean", "count"])
    truth = campaign.truth.query("visited").set_index(["site", "months"])
    both = truth.join(means, how="inner")
    assert len(both) == len(truth) == len(means) > 15
    spread = SIMULATED["solar_reflectance"].spot / np.sqrt(design.spots * both["count"])
    z = (both["mean"] - both["reading"]) / spread
    # Missing readings (1 %) swap a few panels, hence a little more than pure spot noise.
    assert z.abs().max() < 5
    assert 0.6 < z.std() < 1.6


def test_state_is_what_remains_on_an_average_day():
    design = Design(scatter=NONE, marks=tuple(range(37)) + tuple(np.arange(6, 36, 0.25) + 0.1))
    truth = simulate(replace(design, visits=(0,), weather=False), 7).truth
    np.testing.assert_allclose(truth["state"], truth["state_of_panels"])
    late = truth[truth["months"] > 3]
    for _, site in late.groupby("site"):
        swing = site["reading"] - site["state"]
        assert abs(swing.mean()) < 0.003  # dry and wet days balance
        assert swing.std() > 0.004
    first = truth[truth["months"] == 0]
    np.testing.assert_allclose(first["state"], first["reading"])


def test_state_is_the_mean_over_many_panels():
    design = replace(SMALL, panels=300, file_specimens=0, visits=(0,))
    truth = simulate(design, 13).truth
    np.testing.assert_allclose(truth["state"], truth["state_of_panels"], atol=0.003)
    assert (truth["state"] - truth["state_of_panels"]).abs().max() > 1e-5


def test_three_year_losses_are_of_the_demo_size_and_order():
    losses = []
    for seed in range(8):
        truth = simulate(Design(formulations=(blend(0, 0),), weather=False), seed).truth
        state = truth.pivot_table(index="site", columns="months", values="state")
        losses.append(state[0.0] - state[36.0])
    humid, dry, urban = pd.concat(losses, axis=1).mean(axis=1)[["AMARO", "DRYWELL", "KESTREL"]]
    assert humid == pytest.approx(0.20, abs=0.03)
    assert urban == pytest.approx(0.14, abs=0.03)
    assert dry == pytest.approx(0.08, abs=0.02)


def test_a_visit_errs_alike_for_all_its_panels_and_not_for_file_specimens():
    quiet = located(simulate(replace(SMALL, scatter=NONE), 3).exposure)
    shaken = located(simulate(replace(SMALL, scatter=replace(NONE, visit=4.0)), 3).exposure)
    both = quiet.merge(shaken, on=["panel", "read_on", "site", "kind"], suffixes=("", "_shaken"))
    both["error"] = both["value_shaken"] - both["value"]
    indoors = both["kind"] == "file_specimen"
    assert (both.loc[indoors, "error"] == 0).all()
    groups = both[~indoors].groupby(["site", "read_on"])["error"]
    assert (groups.max() - groups.min()).max() <= 0.001 + 1e-9  # rounding alone
    assert groups.mean().std() > 0.01


def test_file_specimens_show_the_drift_of_their_instrument_and_nothing_else():
    still = located(
        simulate(replace(SMALL, scatter=replace(Scatter(), drift=0, spot=0)), 3).exposure
    )
    drifting = located(
        simulate(replace(SMALL, scatter=replace(Scatter(), drift=6, spot=0)), 3).exposure
    )
    kept = still[still["kind"] == "file_specimen"].groupby("panel")["value"]
    assert (kept.max() == kept.min()).all()
    moved = drifting[drifting["kind"] == "file_specimen"]
    change = moved["value"] - moved.groupby("panel")["value"].transform("first")
    by_visit = change.groupby([moved["site"], moved["read_on"]])
    assert change.abs().max() > 0.004
    assert (by_visit.max() - by_visit.min()).max() <= 0.001 + 1e-9


def test_washed_twins_are_at_least_as_bright(full):
    wide = full.exposure.readings.query("property == 'solar_reflectance'").pivot_table(
        index=["panel", "read_on"], columns="surface_state", values="value"
    )
    pairs = wide.dropna()
    assert len(pairs) >= 2 * 3 * 2 * 3 - 4
    lift = pairs["washed"] - pairs["as_exposed"]
    assert lift.min() > -0.012  # spot noise of two readings
    assert lift.mean() > 0.02
    assert not pairs.index.get_level_values("panel").str.contains("-F").any()


def test_visits_fall_out_and_shift_but_the_first_never():
    design = replace(SMALL, months=36, missing_visit=0.3)
    exposure = simulate(design, 21).exposure
    readings = located(exposure)
    assert (readings.groupby("panel")["months"].min() == 0).mean() > 0.9
    counts = readings.groupby("site")["read_on"].nunique()
    assert (counts < len(design.visits)).all()
    off = readings["months"].map(lambda month: min(abs(month - plan) for plan in design.visits))
    assert 0 < off.max() <= design.jitter_days / 30.44 + 0.02


def test_weather_and_events_end_with_the_last_visit(full):
    last = located(full.exposure).groupby("site")["read_on"].max()
    pd.testing.assert_series_equal(
        full.exposure.weather.groupby("site")["date"].max(), last, check_names=False
    )
    assert (full.exposure.events["on"] <= full.exposure.events["site"].map(last)).all()


def test_a_closed_campaign_takes_its_panels_down():
    panels = simulate(replace(SMALL, closed=True), 1).exposure.panels
    assert (panels["closed_on"] > panels["exposed_on"]).all()
    assert simulate(SMALL, 1).exposure.panels["closed_on"].isna().all()


@pytest.mark.parametrize(
    "wrong",
    [
        {"sites": (Site("X", "X", "polar", 0, 0, 0, "UTC"),)},
        {"sites": ()},
        {"formulations": (blend(0, 0), blend(0, 0))},
        {"properties": ("colour",)},
        {"panels": 0},
        {"visits": (1, 2, 3)},
        {"visits": (0, 2, 2)},
        {"washed": (7,)},
        {"marks": (-1,)},
        {"spots": 0},
    ],
)
def test_a_design_that_cannot_be_is_refused_with_what_is_allowed(wrong):
    with pytest.raises(CallError, match="allowed"):
        replace(Design(), **wrong)
