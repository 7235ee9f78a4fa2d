"""What closed campaigns teach the priors of running ones."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import aging
from aging.decay.elimination import COEFFICIENTS
from aging.decay.nodes import coarse_grid
from aging.decay.priors import priors_for
from aging.precedent import learn, told
from aging.simulation import campaign_streams, merge, precedents
from aging.vocabulary import PROPERTIES

PRIORS = priors_for(PROPERTIES["solar_reflectance"])


def closed(loss, drift, sd=0.005, seed=0, *, late=False):
    """A stand-in for the posterior of a long, precise campaign, or of one whose loss began late."""
    random = np.random.default_rng(seed)
    grid = coarse_grid(PRIORS)
    grid = replace(grid, onset=np.full(grid.size, 22.0 if late else np.nan))
    path = np.zeros((4000, 2, len(COEFFICIENTS)))
    path[..., COEFFICIENTS.index("loss")] = random.normal(loss, sd, (4000, 1))
    path[..., COEFFICIENTS.index("drift")] = random.normal(drift, 1e-4, (4000, 1))
    node = random.integers(0, grid.size, 4000)
    weights = dict.fromkeys(PRIORS.courses, 0.0)
    return SimpleNamespace(path=path, grid=grid, node=node, course_weight=weights)


def test_without_closed_campaigns_the_table_stands():
    assert learn(PRIORS, []) is PRIORS


def test_alike_campaigns_move_and_sharpen_the_prior_and_keep_some_spread():
    taught = learn(PRIORS, [closed(0.26, 0.001, seed=i) for i in range(6)])
    assert taught.value("loss") == pytest.approx(0.26, abs=0.02)
    assert taught.value("drift") == pytest.approx(0.001, abs=0.0002)
    assert 0.2 * PRIORS.spread("loss") < taught.spread("loss") < 0.75 * PRIORS.spread("loss")
    assert taught.table.loc["loss", "source"] == "6 closed campaigns of the same climate"
    assert taught.value("initial") == PRIORS.value("initial")


def test_campaigns_that_disagree_keep_the_prior_wide():
    alike = learn(PRIORS, [closed(0.2, 0.0004, seed=i) for i in range(4)])
    apart = learn(PRIORS, [closed(loss, 0.0004) for loss in (0.08, 0.16, 0.24, 0.32)])
    assert apart.spread("loss") > 1.3 * alike.spread("loss")
    assert apart.value("loss") == pytest.approx(0.2, abs=0.02)


def test_late_losses_are_counted_and_say_nothing_of_a_drift():
    late = learn(PRIORS, [closed(0.2, 0.0025, seed=i, late=True) for i in range(6)])
    assert late.value("late_share") == pytest.approx((3 * 0.3 + 6) / 9)
    assert late.value("late") == pytest.approx(0.0025, abs=0.0003)
    both = [PRIORS.value(name) for name in ("drift", "drift_wide")]
    assert late.value("drift") == pytest.approx(np.mean(both), abs=0.0002)
    steady = learn(PRIORS, [closed(0.2, 0.0008, seed=i) for i in range(6)])
    assert steady.value("late_share") == pytest.approx(3 * 0.3 / 9)
    assert steady.value("late") == pytest.approx(PRIORS.value("late"))


def test_campaigns_that_take_the_tables_place_leave_less_to_draw_in():
    half, past = PRIORS.value("upper_half"), [closed(0.2, 0.0008, seed=i) for i in range(6)]
    assert 0 < half < 1
    assert learn(PRIORS, past[:1]).value("upper_half") == pytest.approx((3 * half + 1) / 4)
    taught = learn(PRIORS, past)
    assert taught.value("upper_half") == pytest.approx((3 * half + 6) / 9)
    assert told("hot-dry", PRIORS, taught, 6).endswith(
        "upper ends at 0.95 of the model's own (before: 0.85)"
    )
    whole = PRIORS.table.copy()
    whole.loc["upper_half", "value"] = 1.0
    plain = replace(PRIORS, table=whole)
    assert learn(plain, past).table.loc["upper_half"].equals(whole.loc["upper_half"])
    assert "upper ends" not in told("hot-dry", plain, learn(plain, past), 6)


def test_a_vague_campaign_teaches_little():
    vague = learn(PRIORS, [closed(0.17, 0.0004, sd=0.079)])
    assert vague.spread("loss") > 0.9 * PRIORS.spread("loss")


def test_campaigns_that_only_repeat_the_prior_teach_nothing():
    centre, spread = PRIORS.value("loss"), PRIORS.spread("loss")
    repeated = learn(PRIORS, [closed(centre, 0.0004, sd=spread, seed=i) for i in range(6)])
    assert repeated.spread("loss") == pytest.approx(spread, rel=0.04)
    assert repeated.value("loss") == pytest.approx(centre, abs=0.005)


def test_running_campaigns_say_what_they_were_taught_and_closed_ones_are_untouched():
    running = next(iter(campaign_streams("late growth", 1, 3))).exposure
    both = merge([precedents("late growth", 2, 4), running])
    start = pd.to_datetime(running.panels["exposed_on"]).min()
    moment = start + pd.Timedelta(days=9 * 30.44)
    alone, taught = (aging.fit(source, as_of=moment) for source in (running, both))
    assert not any("taught" in note for note in alone.notes)
    assert sum("2 closed campaigns taught" in note for note in taught.notes) == 3
    mine = {(one.site, one.formulation) for one in alone.series}
    changed = taught.project(36).frame.set_index(["site", "formulation", "target"])
    before = alone.project(36).frame.set_index(["site", "formulation", "target"])
    gap = changed.loc[before.index, "estimate"] - before["estimate"]
    assert gap.abs().max() > 0.005
    old = next(one for one in taught.series if (one.site, one.formulation) not in mine)
    assert old.posterior.priors.table.equals(taught.gathered.priors(old.campaign).table)


def test_a_campaign_that_knows_no_more_of_a_drift_than_the_table_leaves_it_there():
    one, random = closed(0.17, 0.0, sd=0.079), np.random.default_rng(3)
    kinds = ["drift", "drift_wide"]
    centre, spread = (np.array([get(k) for k in kinds]) for get in (PRIORS.value, PRIORS.spread))
    wide = np.arange(one.grid.size) % 2
    one.grid = replace(one.grid, drift=centre[wide], drift_sd=spread[wide])
    drawn = random.normal(centre[wide[one.node]], spread[wide[one.node]])
    one.path[..., COEFFICIENTS.index("drift")] = drawn[:, None]
    taught = learn(PRIORS, [one] * 4)
    assert taught.value("drift") == pytest.approx(drawn.mean(), abs=5e-5)
    assert taught.spread("drift") > 0.9 * drawn.std()


def test_what_was_taught_is_told_with_mean_and_spread_over_both_kinds_of_drift():
    taught = learn(PRIORS, [closed(0.26, 0.001, seed=i) for i in range(6)])
    said = told("hot-dry", PRIORS, taught, 6)
    mean, spread = (0.0003 + 0.0008) / 2, np.hypot(np.hypot(0.0002, 0.0005) / 2**0.5, 0.00025)
    assert said.startswith("hot-dry: 6 closed campaigns taught to expect a loss in the end of 0.2")
    assert f"(before: 0.15 ± {PRIORS.spread('loss'):g})" in said
    assert f"a slow loss a month of {taught.value('drift'):.2g} ± " in said
    assert f"(before: {mean:.2g} ± {spread:.1g})" in said
