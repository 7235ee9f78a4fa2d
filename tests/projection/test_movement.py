"""The projection as of each past visit is the one that the readings of that day gave."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import aging
from aging.decay.posterior import DRAWS
from aging.errors import CallError
from aging.projection import MOVEMENT_COLUMNS, movement
from aging.simulation import Design, merge, precedents, simulate
from aging.simulation.scenario import SITES, coats

DESIGN = Design(
    sites=SITES[:2], formulations=coats(2), panels=2, file_specimens=0, weather=False,
    visits=(0, 2, 6, 12, 24, 36), missing_visit=0, months=36,
)  # fmt: skip
EXPOSURE = simulate(DESIGN, seed=5).exposure


@pytest.fixture(scope="module")
def fitted():
    return aging.fit(EXPOSURE)


@pytest.fixture(scope="module")
def moved(fitted):
    return movement(fitted, 36.0, draws=DRAWS)


def of(frame, site, formulation="F1", target="state"):
    rows = frame["site"].eq(site) & frame["formulation"].eq(formulation)
    return frame[rows & frame["target"].eq(target)]


def test_each_visit_before_the_target_has_its_row(moved):
    assert tuple(moved.columns) == MOVEMENT_COLUMNS
    read = EXPOSURE.readings.merge(EXPOSURE.panels)
    for site in ("AMARO", "DRYWELL"):
        days = sorted(read.loc[read["site"] == site, "read_on"].str[:10].unique())
        rows = of(moved, site)
        assert rows["as_of"].tolist() == days[:-1]
        assert rows["observed_months"].is_monotonic_increasing
    assert (moved["lower"] < moved["estimate"]).all()
    assert (moved["estimate"] < moved["upper"]).all()
    assert set(moved["level"]) == {0.9}


def test_it_knew_nothing_of_later_readings(moved):
    day = of(moved, "AMARO")["as_of"].iloc[3]
    known = aging.project(EXPOSURE, 36.0, as_of=day).frame
    for target in ("state", "reading"):
        then = of(moved, "AMARO", "F2", target).set_index("as_of").loc[day]
        own = of(known, "AMARO", "F2", target).iloc[0]
        ends = ["estimate", "lower", "upper", "observed_months"]
        assert then[ends].tolist() == pytest.approx(own[ends].tolist(), abs=1e-9)


def test_intervals_narrow_and_the_same_ledger_moves_alike(fitted, moved):
    for site in ("AMARO", "DRYWELL", "all"):
        rows = of(moved, site)
        width = (rows["upper"] - rows["lower"]).to_numpy()
        assert width[-1] < 0.6 * width[0]
    told = []
    steps = {"on_progress": lambda *step: told.append(step)}
    pd.testing.assert_frame_equal(movement(fitted, 36.0, draws=DRAWS, **steps), moved)
    assert told == [(n, 10) for n in range(1, 11)]


def test_over_sites_it_moves_when_all_of_them_had_been_read(moved):
    rows, sites = of(moved, "all"), [of(moved, "AMARO"), of(moved, "DRYWELL")]
    assert rows["as_of"].iloc[0] == max(site["as_of"].iloc[0] for site in sites)
    latest = [site[site["as_of"] <= rows["as_of"].iloc[2]].iloc[-1] for site in sites]
    assert rows["observed_months"].iloc[2] == min(site["observed_months"] for site in latest)
    mean = np.mean([site["estimate"] for site in latest])
    assert rows["estimate"].iloc[2] == pytest.approx(mean, abs=0.01)


def test_each_row_has_the_ends_that_were_told_that_day(moved):
    for site in ("AMARO", "all"):
        then = of(moved, site).iloc[-1]
        known = of(aging.project(EXPOSURE, 36.0, as_of=then["as_of"]).frame, site).iloc[0]
        ends = ["estimate", "lower", "upper"]
        assert then[ends].tolist() == pytest.approx(known[ends].tolist(), abs=1e-9)


def test_the_later_reading_is_the_mean_of_the_panels(fitted, moved):
    read = EXPOSURE.readings.merge(EXPOSURE.panels)
    own = read[(read["site"] == "AMARO") & (read["formulation"] == "F2")]
    last = own[own["read_on"] == own["read_on"].max()]["value"].mean()
    assert of(moved, "AMARO", "F2")["later"].unique() == pytest.approx(last)
    ahead = movement(fitted, 48.0, draws=100)
    assert ahead["later"].isna().all()


def test_a_formulation_moves_from_its_first_reading_on():
    panels = EXPOSURE.panels.set_index("panel")["formulation"]
    late = EXPOSURE.readings["panel"].map(panels).eq("F2")
    late &= EXPOSURE.readings["read_on"] < "2021-06-15"
    fit = aging.fit(replace(EXPOSURE, readings=EXPOSURE.readings[~late]))
    frame = movement(fit, 36.0, draws=100)
    assert len(of(frame, "AMARO", "F2")) == len(of(frame, "AMARO")) - 2
    assert of(frame, "AMARO", "F2")["as_of"].min() > "2021-06-15"


def test_several_months_move_as_each_does(fitted, moved):
    both = movement(fitted, [12.0, 36.0], draws=DRAWS)
    late = both[both["months"] == 36].reset_index(drop=True)
    pd.testing.assert_frame_equal(late, moved)
    early = both[both["months"] == 12]
    assert (early["observed_months"] < 12 * 35 / 36).all()
    assert early["later"].notna().all()


def test_nothing_moves_before_the_first_visit_and_a_wrong_call_is_refused(fitted):
    assert movement(fitted, 0.0).empty
    with pytest.raises(CallError, match="level"):
        movement(fitted, level=90)
    with pytest.raises(CallError, match="0 to 240"):
        movement(fitted, -1)


@pytest.mark.parametrize("late", [False, True])
def test_campaigns_closed_by_then_taught_it_and_later_ones_did_not(late):
    small = replace(DESIGN, sites=SITES[:1])
    past = precedents("dirt and rain", 1, 4, small)
    if late:  # the panels left the rack on the day of the last visit asked about
        days = EXPOSURE.readings["read_on"].sort_values().unique()
        past = replace(past, panels=past.panels.assign(closed_on=days[-1]))
    both = merge([EXPOSURE, past])
    rows = of(movement(aging.fit(both), 36.0, draws=DRAWS), "AMARO").set_index("as_of")
    day = rows.index[2]
    known = aging.fit(both, as_of=day)
    assert any("taught" in note for note in known.notes) != late
    known = of(known.project(36.0).frame, "AMARO").iloc[0]
    ends = ["estimate", "lower", "upper"]
    assert rows.loc[day, ends].tolist() == pytest.approx(known[ends].tolist(), abs=1e-9)
