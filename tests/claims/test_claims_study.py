"""Claims on simulated campaigns of known truth: how many break at 36 months, what they give away.

AGING_STUDY=10 python -m pytest -m slow -s tests/claims/test_claims_study.py; AGING_STUDY is the
number of campaigns a course (nine courses of no projection's own, six formulations each).
"""

from __future__ import annotations

import os

import numpy as np
import pandas as pd
import pytest

from aging.claims import floored
from aging.projection import gather, posterior
from aging.simulation import campaign_streams
from aging.vocabulary import property_named

SR = property_named("solar_reflectance")
COURSES = (
    "dirt and rain", "dirt and rain + storm", "dirt and rain + swap",
    "dirt and rain + missing visits + unequal panels", "stretched exponential", "two pools",
    "power of time", "seasonal", "late growth",
)  # fmt: skip


def claimed(course, number, cuts):
    """A row a formulation and cut: what would be claimed, and what a visit read in the end."""
    campaign = list(campaign_streams(course, number + 1, 23))[number]
    at_36 = campaign.truth.query("months == 36 and property == 'solar_reflectance'")
    truth = at_36.groupby("formulation")["reading"].mean()
    found = gather(campaign.exposure)
    for cut in cuts:
        drawn = [
            posterior(
                one, found.priors(one),
                readings=one.readings.visits(one.readings.months <= cut + 0.5), draws=1500,
            ).at([36.0])[1][0]
            for one in found.campaigns
        ]  # fmt: skip
        names = {one.formulations for one in found.campaigns}
        assert len(names) == 1
        bounds = np.quantile(np.mean(drawn, axis=0), 0.05, axis=0)
        for name, bound in zip(names.pop(), bounds, strict=True):
            value = floored(bound, SR)
            yield {"course": course, "campaign": number, "cut": cut, "value": value,
                   "broken": truth[name] < value, "given_away": truth[name] - value}  # fmt: skip


def study(courses, number, cuts=(12, 24)):
    rows = pd.DataFrame([
        row for course in courses for n in range(number) for row in claimed(course, n, cuts)
    ])  # fmt: skip
    table = rows.groupby(["course", "cut"], sort=False)[["broken", "given_away"]].mean()
    print(table.round(3).to_string())
    mean = rows.groupby("cut")[["broken", "given_away"]].mean()
    print(mean.round(4).to_string(), len(rows))
    return mean


def test_one_campaign_gives_away_something_and_not_much():
    mean = study(("two pools",), 1, cuts=(24,))
    assert 0 < mean.loc[24, "given_away"] < 0.06


@pytest.mark.slow
def test_few_claims_break_and_little_is_given_away():
    mean = study(COURSES, int(os.environ.get("AGING_STUDY", "10")))
    assert mean.loc[12, "broken"] <= 0.08
    assert mean.loc[24, "broken"] <= 0.05
    assert mean.loc[24, "given_away"] <= 0.035
