"""Shares of an interval's width, and what is promised to narrow it against what then does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import aging
from aging.decay.posterior import fit_site
from aging.decay.priors import priors_for
from aging.decay.site import site_readings
from aging.projection import SOURCES, TARGETS, posterior, remedies, shares
from aging.projection.width import _parts, parts_of, share_of_each
from aging.simulation import Design, simulate
from aging.vocabulary import PROPERTIES

EXPOSURE = simulate(Design(), seed=11).exposure
PRIORS = priors_for(PROPERTIES["solar_reflectance"])


@pytest.fixture(scope="module")
def year_one():
    return aging.fit(EXPOSURE, as_of="2022-05-01")


def wide(frame: pd.DataFrame) -> pd.DataFrame:
    keys = ["target", "site", "formulation"]
    return frame.pivot_table(index=keys, columns="source", values="share")


def test_the_parts_are_those_of_the_draws_and_their_shares_sum_to_one(year_one):
    parts = parts_of(year_one, 36.0)
    for one in year_one.series:
        drawn = dict(zip(TARGETS, one.posterior.at([36.0]), strict=True))
        for target, part in parts[one.site, one.formulation].items():
            expected = drawn[target][0, :, one.group]
            assert part.sum(axis=0) == pytest.approx(expected, abs=1e-12)
    found = wide(shares(year_one, 36.0))
    assert list(found.columns) == sorted(SOURCES)
    assert found.sum(axis=1).to_numpy() == pytest.approx(1.0, abs=1e-12)
    assert len(found) == 2 * 6 * 4  # targets, formulations, sites and their mean
    assert found["instrument"].between(-0.05, 0.2).all()


def test_a_reading_has_more_of_its_visit_and_a_far_month_more_of_the_drift(year_one):
    near, far = (wide(shares(year_one, months)) for months in (15.0, 48.0))
    assert (far["drift"] > near["drift"] + 0.1).all()
    assert (near["visits"] > far["visits"]).all()
    for frame in (near, far):
        assert (frame.loc["reading", "visits"] > frame.loc["state", "visits"]).all()


@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_what_the_instrument_may_have_drifted_has_the_share_it_adds_to_the_variance(seed):
    random = np.random.default_rng(seed)
    months = np.linspace(0, 15, 9)
    group = np.repeat(np.arange(3), 2)
    visits = random.normal(0, 0.005, 9)
    values = 0.84 - 0.15 * (1 - np.exp(-0.2 * months)) + visits + random.normal(0, 0.004, (6, 9))
    site = site_readings(values, group, months)
    drifting = replace(site, offset=0.0025**2 * np.minimum.outer(months, months))
    wild = replace(site, offset=2 * drifting.offset)
    sure, unsure, lost = (fit_site(one, PRIORS, draws=16_000) for one in (site, drifting, wild))
    share = of_site(unsure, 24.0)["instrument"]
    growth = sure.at([24.0])[0][0].var(axis=0) / unsure.at([24.0])[0][0].var(axis=0)
    assert share.min() > 0.1
    assert 1 - share == pytest.approx(growth, abs=0.06)
    assert of_site(sure, 24.0)["instrument"] == pytest.approx(0)
    assert (of_site(lost, 24.0)["instrument"] > 1.2 * share).all()


def of_site(fitted, month):
    """Shares of each group of one posterior, target "state"."""
    parts = _parts(fitted, month)["state"]
    each = [share_of_each(parts[:, :, group]) for group in range(parts.shape[2])]
    return dict(zip(SOURCES, np.array(each).T, strict=True))


def test_remedies_are_ordered_and_help_little_where_little_is_due_to_them(year_one):
    found = remedies(year_one, 36.0)
    assert set(found["remedy"]) == {"visit", "panels", "site"}
    assert found["width_factor"].between(0.2, 1.0).all()
    for _, rows in found.groupby(["site", "formulation", "target"]):
        assert rows["width_factor"].is_monotonic_increasing
        later = rows[rows["remedy"] == "visit"].sort_values("amount")["width_factor"]
        assert later.is_monotonic_decreasing
        assert len(later) == 4
    over_sites = found[found["remedy"] == "site"]
    assert set(over_sites["site"]) == {"all"}
    assert over_sites["width_factor"].to_numpy() == pytest.approx((3 / 4) ** 0.5)
    panels = wide(shares(year_one, 36.0))["panels"]
    one_more = found[(found["remedy"] == "panels") & (found["amount"] == 1)]
    one_more = one_more[one_more["site"] != "all"].set_index(["target", "site", "formulation"])
    expected = (1 - panels.loc[one_more.index].clip(lower=0) / 4) ** 0.5
    assert one_more["width_factor"].to_numpy() == pytest.approx(expected.to_numpy())


def test_what_has_been_read_needs_no_remedy(year_one):
    assert remedies(year_one, 6.0).empty
    assert (remedies(year_one, 13.0)["remedy"] != "visit").all()


def test_a_new_visit_narrows_as_promised(year_one):
    """Readings drawn from the projection itself, added to the campaign, and fitted again."""
    one = next(one for one in year_one.series if one.site == "AMARO")
    promised = remedies(year_one, 36.0).query(
        "site == 'AMARO' and target == 'state' and remedy == 'visit' and amount == 18"
    )
    site = one.campaign.readings.visits(one.campaign.readings.washed == 0)
    values = site.values  # noqa: PD011 - an array
    means = np.array([values[site.group == group].mean(axis=0) for group in range(6)])
    apart = (values - means[site.group]).mean(axis=1)
    drawn = replace(one.posterior, seed=123).at([18.0])[1][0]
    random = np.random.default_rng(8)

    def width(readings):
        priors = year_one.gathered.priors(one.campaign)
        again = posterior(one.campaign, priors, readings=readings, draws=1000)
        return np.ptp(np.quantile(again.at([36.0])[0][0], [0.05, 0.95], axis=0), axis=0)

    widths = []
    for draw in random.integers(0, len(drawn), 6):
        new = (drawn[draw][site.group] + apart)[:, None]
        new = new + random.normal(0, one.posterior.spreads.residual, new.shape)
        widths.append(width(site_readings(
            np.hstack([values, new]), site.group, np.append(site.months, 18.0),
            dryness=np.append(site.dryness, 0.0), dryness_sd=site.dryness_sd,
        )))  # fmt: skip
    narrowed = (np.mean(widths, axis=0) / width(site)).mean()
    assert narrowed == pytest.approx(promised["width_factor"].mean(), abs=0.08)


def test_what_is_told_of_one_formulation_is_what_is_told_of_all(year_one):
    name = year_one.series[-1].formulation
    for told in (shares, remedies):
        whole = told(year_one, 36.0)
        mine = whole[whole["formulation"] == name].reset_index(drop=True)
        pd.testing.assert_frame_equal(told(year_one, 36.0, name), mine)
