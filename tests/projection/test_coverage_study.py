"""Coverage and error at 36 months on campaigns that the model did not make (pytest -m slow -s).

AGING_STUDY sets the number of campaigns a course (default 10, a few minutes); the table that it
prints stands in DEVELOPERS.md.
"""

from __future__ import annotations

import os

import numpy as np
import pandas as pd
import pytest

from aging import cube
from aging.campaigns import campaigns
from aging.decay.priors import priors_for
from aging.decay.series import fit_series
from aging.projection import posterior
from aging.simulation import campaign_streams
from aging.vocabulary import PROPERTIES

CUTS = (6, 12, 18, 24)
COURSES = (
    "dirt and rain", "dirt and rain + storm", "dirt and rain + missing visits + unequal panels",
    "stretched exponential", "two pools", "power of time", "seasonal", "late growth",
)  # fmt: skip
PRIORS = priors_for(PROPERTIES["solar_reflectance"])


def exponential(months, means):
    seen = ~np.isnan(means)
    fitted = fit_series(months[seen], means[seen], np.array([0, seen.sum()]))
    ends = float(fitted.predict(np.array([36.0]))[0, 0])
    return ends if np.isfinite(ends) else means[seen][-1]


def forecasts(course, campaign):
    at_36 = campaign.truth.query("months == 36 and property == 'solar_reflectance'")
    truth = at_36.set_index(["site", "formulation"])["reading"]
    built = cube.build(campaign.exposure)
    for one in campaigns(built, campaign.exposure.weather, "solar_reflectance"):
        for cut in CUTS:
            seen = one.readings.visits(one.readings.months <= cut + 0.5)
            table = seen.values  # noqa: PD011 - an array, not a frame
            drawn = posterior(one, PRIORS, readings=seen, draws=1500).at([36.0])[1][0]
            for group, name in enumerate(one.formulations):
                low, middle, high = np.quantile(drawn[:, group], [0.05, 0.5, 0.95])
                panels = table[seen.group == group]
                visited = ~np.isnan(panels).all(axis=0)
                means = np.nanmean(panels[:, visited], axis=0)
                later = truth[one.site, name]
                yield {
                    "course": course, "cut": cut, "coverage": low <= later <= high,
                    "error": abs(middle - later), "below": later < low, "width": high - low,
                    "bias": middle - later, "last": abs(means[-1] - later),
                    "exponential": abs(exponential(seen.months[visited], means) - later),
                }  # fmt: skip


@pytest.mark.slow
def test_intervals_hold_on_courses_that_no_projection_assumes():
    number = int(os.environ.get("AGING_STUDY", "10"))
    rows = [
        row
        for course in COURSES
        for campaign in campaign_streams(course, number, 11)
        for row in forecasts(course, campaign)
    ]
    table = pd.DataFrame(rows).groupby(["course", "cut"], sort=False).mean()
    table["ratio"] = table["error"] / table[["last", "exponential"]].min(axis=1)
    print(table.round(3).to_string())
    mean = table.groupby("cut").mean()
    assert mean["coverage"].between(0.86, 0.99).all()
    assert (mean["ratio"] < [0.80, 0.65, 0.65, 0.75]).all()
    assert (mean["below"] < 0.08).all()
