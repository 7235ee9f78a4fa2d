"""Differences to the control: shared visit error cancels, disagreement of sites stays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import aging
from aging.comparison import differences
from aging.simulation import Design, simulate

CAMPAIGN = simulate(Design(months=24), seed=21)


@pytest.fixture(scope="module")
def simulated():
    return aging.fit(CAMPAIGN.exposure)


def test_a_difference_is_narrower_than_from_independent_errors(simulated):
    gaps = differences(simulated, 36).frame.query("target == 'reading' and site != 'all'")
    values = simulated.project(36).frame.query("target == 'reading' and site != 'all'")
    width = (values["upper"] - values["lower"]).groupby(values["site"]).mean()
    own = (gaps["upper"] - gaps["lower"]).groupby(gaps["site"]).mean()
    assert (own < 0.75 * np.sqrt(2) * width).all()


def test_the_difference_is_that_of_the_estimates(simulated):
    rows = differences(simulated, 36).frame.query("target == 'state' and site != 'all'")
    values = (
        simulated.project(36).frame.query("target == 'state'").set_index(["site", "formulation"])
    )
    for row in rows.itertuples():
        gap = values.loc[(row.site, row.formulation), "estimate"]
        gap -= values.loc[(row.site, "S0H0"), "estimate"]
        assert row.estimate == pytest.approx(gap, abs=0.004)
        assert row.lower < row.estimate < row.upper
    assert "S0H0" not in set(rows["formulation"])


def test_known_differences_are_covered():
    """Nominal 90 %: difference of the formulations' readings at 36 months, seen from 18."""
    inside = []
    for seed in range(8):
        campaign = simulate(Design(), seed=300 + seed)
        start = pd.to_datetime(campaign.exposure.panels["exposed_on"]).min()
        moment = start + pd.Timedelta(days=18.5 * 30.44)
        frame = aging.compare(campaign.exposure, as_of=moment).frame.query("target == 'reading'")
        truth = campaign.truth.query("months == 36 and property == 'solar_reflectance'")
        truth = truth.set_index(["site", "formulation"])["reading"]
        for row in frame.query("site != 'all'").itertuples():
            gap = truth[row.site, row.formulation] - truth[row.site, "S0H0"]
            inside.append(row.lower <= gap <= row.upper)
    assert len(inside) == 8 * 3 * 5
    assert np.mean(inside) >= 0.85


def test_a_lower_yellowness_is_better():
    exposure = CAMPAIGN.exposure
    readings = exposure.readings.assign(
        property="yellowness_index", unit="1", value=20 - 20 * exposure.readings["value"]
    )
    frame = aging.compare(replace(exposure, readings=readings), property="yellowness_index").frame
    rows = frame.query("target == 'reading' and site == 'all'").set_index("formulation")
    assert rows.loc["S8H30", "estimate"] < 0
    assert rows.loc["S8H30", "probability_better"] > 0.95
