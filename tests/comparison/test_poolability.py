"""May batches and sites be averaged: exact in complete tables, right as often as it says."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy.stats import f_oneway
from statsmodels.stats.anova import anova_lm

from aging.comparison import pooling
from aging.comparison.poolability import APART, AVERAGE, UNTESTED, poolability
from aging.comparison.steps import INTERCEPTS, SLOPES, two_steps

MONTHS = np.array([0.0, 1, 3, 6, 9, 12, 18, 24])
T = np.log1p(MONTHS)


def panels(random, batches=(3, 3), *, raised=0.0, steeper=0.0):
    """Readings (P, V) of panels that differ for good, with visits in common; batch of each."""
    batch = np.repeat(np.arange(len(batches)), batches)
    level = random.normal(0.8, 0.006, batch.size) + raised * batch
    slope = random.normal(-0.04, 0.003, batch.size) + steeper * batch
    visit, noise = random.normal(0, 0.006, T.size), random.normal(0, 0.004, (batch.size, T.size))
    return level[:, None] + slope[:, None] * T + visit + noise, batch


def steps_of(table, batch):
    panel, visit = np.indices(table.shape).reshape(2, -1)
    return two_steps(
        table.ravel(), MONTHS[visit], visit=visit, panel=panel, group=batch[panel],
        share=np.ones(panel.size),
    )  # fmt: skip


def test_of_complete_tables_the_steps_are_analyses_of_the_panels_slopes_and_means():
    table, batch = panels(np.random.default_rng(1), (3, 4, 2), steeper=0.002)
    found = steps_of(table, batch)
    slope = np.polyfit(T, table.T, 1)[0]
    groups = [batch == one for one in range(3)]
    assert found.p_slopes == pytest.approx(f_oneway(*(slope[one] for one in groups)).pvalue)
    means = f_oneway(*(table.mean(axis=1)[one] for one in groups)).pvalue
    assert found.p_intercepts == pytest.approx(means)


def test_sites_are_the_interaction_with_the_formulation():
    random = np.random.default_rng(3)
    parts = [(site, mix, table) for site, mix in product(range(3), range(2))
             for table in [panels(random, (3,), steeper=0.0)[0]]]  # fmt: skip
    y = np.concatenate([table + 0.01 * site * mix for site, mix, table in parts])
    site, mix = np.repeat([[site, mix] for site, mix, _ in parts], 3, axis=0).T
    panel, visit = np.indices(y.shape).reshape(2, -1)
    found = two_steps(
        y.ravel(), MONTHS[visit], visit=visit + T.size * site[panel], panel=panel,
        group=site[panel], share=mix[panel].astype(float),
    )  # fmt: skip
    rows = pd.DataFrame({"mean": y.mean(axis=1), "slope": np.polyfit(T, y.T, 1)[0],
                         "site": site, "mix": mix})  # fmt: skip
    for what, p in (("slope", found.p_slopes), ("mean", found.p_intercepts)):
        table = anova_lm(smf.ols(f"{what} ~ C(site) * mix", rows).fit())
        assert p == pytest.approx(table.loc["C(site):mix", "PR(>F)"])
    assert np.ptp(found.offset) == pytest.approx(0.02, abs=0.02)


def test_batches_alike_are_kept_apart_as_often_as_the_rule_allows():
    random = np.random.default_rng(5)
    found = [steps_of(*panels(random)) for _ in range(400)]
    for step in ("p_slopes", "p_intercepts"):
        wrong = np.mean([getattr(one, step) <= 0.25 for one in found])
        assert wrong == pytest.approx(0.25, abs=0.065)


def test_readings_taken_as_independent_object_far_more_often():
    random, apart = np.random.default_rng(6), []
    for _ in range(100):
        table, batch = panels(random)
        every = (np.tile(T, len(batch)), table.ravel(), np.repeat(batch, T.size))
        apart.append(pooling.batches(*every).model != pooling.ONE_LINE)
    assert np.mean(apart) > 0.6  # two steps at 0.25 allow 1 - 0.75^2 = 0.44


def test_a_step_that_differs_decides_and_names_how_far():
    random = np.random.default_rng(7)
    steep = steps_of(*panels(random, steeper=-0.03))
    assert (steep.decided_by, steep.poolable) == (SLOPES, False)
    assert steep.offset[1] - steep.offset[0] == pytest.approx(-0.03 * T[-1], abs=0.015)
    high = steps_of(*panels(random, raised=0.08))
    assert (high.decided_by, high.poolable) == (INTERCEPTS, False)
    assert high.offset[1] - high.offset[0] == pytest.approx(0.08, abs=0.02)
    random = np.random.default_rng(8)
    alike = next(one for one in (steps_of(*panels(random)) for _ in range(50)) if one.poolable)
    assert alike.decided_by == INTERCEPTS


def test_what_tells_batch_from_panel_is_asked_for():
    table, _ = panels(np.random.default_rng(9), (1, 1))
    found = steps_of(table, np.array([0, 1]))
    assert (found.decided_by, found.poolable) == ("", False)
    table, batch = panels(np.random.default_rng(9))
    seen = np.arange(T.size) % 2 == batch[:, None]  # never at one visit
    panel, visit = np.nonzero(seen)
    never = two_steps(table[seen], MONTHS[visit], visit=visit, panel=panel, group=batch[panel],
                      share=np.ones(panel.size))  # fmt: skip
    assert never.decided_by == ""


@pytest.fixture(scope="module")
def table(fitted):
    """S8H0 has a poor second batch, S0H30 one alone, S8H30 none recorded."""
    names = fitted.exposure.panels
    batch = names["paint_batch"].where(names["replicate"] == 1, names["formulation"] + "-B")
    batch = batch.where(names["formulation"] != "S0H30", "S0H30-A")
    batch = batch.where(names["formulation"] != "S8H30")
    series = []
    for one in fitted.series:
        bad = np.array([name.endswith("S8H0-2") for name in one.campaign.panels])
        readings = one.campaign.readings
        lower = replace(readings, values=readings.values - 0.1 * bad[:, None])  # noqa: PD011
        series.append(replace(one, campaign=replace(one.campaign, readings=lower)))
    exposure = replace(fitted.exposure, panels=names.assign(paint_batch=batch))
    gathered = replace(fitted.gathered, exposure=exposure)
    return poolability(replace(fitted, gathered=gathered, series=tuple(series)))


def test_every_formulation_is_told_by_batches_and_by_sites(table):
    batches, sites = (table[table["what"] == what].set_index("formulation")
                      for what in ("batches", "sites"))  # fmt: skip
    assert "S8H30" not in batches.index
    assert set(sites.index) == {"S0H30", "S4H0", "S4H30", "S8H0", "S8H30"}
    poor = batches.loc["S8H0"]
    assert (poor["verdict"], poor["worst"], poor["decided_by"]) == (APART, "S8H0-B", INTERCEPTS)
    assert poor["estimate"] - poor["worst_estimate"] == pytest.approx(0.05, abs=0.015)
    alone = batches.loc["S0H30"]
    assert (alone["verdict"], alone["notes"]) == (UNTESTED, "one batch: nothing to compare")
    assert np.isnan(alone["p_slopes"])
    told = sites["verdict"] == AVERAGE
    assert (told == ((sites["p_slopes"] > 0.25) & (sites["p_intercepts"] > 0.25))).all()
    assert set(sites["n_panels"]) == {6}


def test_the_difference_at_a_site_is_what_was_read(fitted, table):
    row = table[(table["what"] == "sites") & (table["formulation"] == "S4H30")].iloc[0]
    last = [one.campaign for one in fitted.series if one.formulation == "S4H30"]
    gaps = [np.nanmean(one.of_group(one.formulations.index("S4H30"))[:, -1])
            - np.nanmean(one.of_group(one.formulations.index("S0H0"))[:, -1])
            for one in last]  # fmt: skip
    assert row["estimate"] == pytest.approx(np.mean(gaps), abs=0.01)
    assert row["worst_estimate"] <= row["estimate"]
