"""Coverage and error at 36 months on campaigns that the model did not make.

A small seeded table runs with the default tests. The full one: AGING_STUDY=200 python -m pytest
-m slow -s tests/projection/test_coverage_study.py, with AGING_PRECEDENTS=6 for closed campaigns of
the same sites before each; AGING_STUDY is the number of campaigns a course. Its table stands in
DEVELOPERS.md.
"""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np
import pandas as pd
import pytest

from aging.decay.series import fit_series
from aging.precedent import learn
from aging.projection import gather, posterior
from aging.projection.states import tails
from aging.simulation import precedents, simulate, study

CUTS = (6, 12, 18, 24)
COURSES = (
    "dirt and rain", "dirt and rain + storm", "dirt and rain + swap",
    "dirt and rain + missing visits + unequal panels", "stretched exponential", "two pools",
    "power of time", "seasonal", "late growth",
)  # fmt: skip


def exponential(months, means):
    seen = ~np.isnan(means)
    fitted = fit_series(months[seen], means[seen], np.array([0, seen.sum()]))
    ends = float(fitted.predict(np.array([36.0]))[0, 0])
    return ends if np.isfinite(ends) else means[seen][-1]


def taught(course, number, seed):
    """What closed campaigns of each site teach, by site."""
    if not number:
        return {}
    past = gather(precedents(course, number, seed))
    fitted = [(one, posterior(one, past.priors(one), draws=1500)) for one in past.campaigns]
    return {
        one.site: learn(past.priors(one), [its for other, its in fitted if other.site == one.site])
        for one in past.campaigns
    }


def scored(job, closed=0, seed=11):
    """One row a formulation, site and cut of one campaign."""
    course, number = job
    campaign = simulate(study(course), (seed, number))
    at_36 = campaign.truth.query("months == 36 and property == 'solar_reflectance'")
    truth = at_36.set_index(["site", "formulation"])["reading"]
    found = gather(campaign.exposure)
    known = taught(course, closed, 1000 + number)
    rows = []
    for one in found.campaigns:
        later = np.array([truth[one.site, name] for name in one.formulations])
        priors = known.get(one.site, found.priors(one))
        for cut in CUTS:
            seen = one.readings.visits(one.readings.months <= cut + 0.5)
            drawn = posterior(one, priors, readings=seen, draws=1500).at([36.0])[1][0]
            ends = tails(0.90, priors.value("upper_half"))
            low, middle, high = np.quantile(drawn, ends, axis=0)
            apart = np.quantile(drawn[:, 1:] - drawn[:, :1], [0.05, 0.95], axis=0)
            alone = np.quantile(drawn[::-1, 1:] - drawn[:, :1], [0.05, 0.95], axis=0)
            gap = later[1:] - later[0]
            for group in range(later.size):
                panels = seen.values[seen.group == group]  # noqa: PD011 - an array, not a frame
                visited = ~np.isnan(panels).all(axis=0)
                means = np.nanmean(panels[:, visited], axis=0)
                row = {
                    "course": course, "cut": cut,
                    "coverage": low[group] <= later[group] <= high[group],
                    "error": abs(middle[group] - later[group]),
                    "below": later[group] < low[group], "above": later[group] > high[group],
                    "width": high[group] - low[group],
                    "bias": middle[group] - later[group], "last": abs(means[-1] - later[group]),
                    "exponential": abs(exponential(seen.months[visited], means) - later[group]),
                }  # fmt: skip
                if group:
                    inside = apart[0, group - 1] <= gap[group - 1] <= apart[1, group - 1]
                    row["difference"] = inside
                    row["narrower"] = np.ptp(apart[:, group - 1]) / np.ptp(alone[:, group - 1])
                rows.append(row)
    return rows


def table(courses, number, closed=0):
    jobs = [(course, n) for course in courses for n in range(number)]
    with ProcessPoolExecutor() as pool:
        rows = [row for part in pool.map(partial(scored, closed=closed), jobs) for row in part]
    found = pd.DataFrame(rows).groupby(["course", "cut"], sort=False).mean()
    found["ratio"] = found["error"] / found[["last", "exponential"]].min(axis=1)
    print(found.round(3).to_string())
    return found


def test_a_few_campaigns_hold_about_as_often_as_they_say():
    found = table(("dirt and rain", "two pools", "late growth"), 2).groupby("cut").mean()
    assert found["coverage"].between(0.80, 1.0).all()
    assert found["difference"].between(0.80, 1.0).all()
    assert (found["ratio"] < 0.9).all()
    assert (found["below"] < 0.12).all()
    assert (found["narrower"] < 0.8).all()


@pytest.mark.slow
def test_intervals_hold_on_courses_that_no_projection_assumes():
    closed = int(os.environ.get("AGING_PRECEDENTS", "0"))
    found = table(COURSES, int(os.environ.get("AGING_STUDY", "10")), closed)
    mean = found.groupby("cut").mean()
    assert mean["coverage"].between(0.86, 0.98).all()
    assert mean["difference"].between(0.85, 0.99).all()
    assert (mean["ratio"] < [0.80, 0.65, 0.65, 0.75]).all()
    assert (mean["below"] < 0.08).all()
    assert (mean["above"] < 0.06).all()
    assert (mean["narrower"] < 1).all()
