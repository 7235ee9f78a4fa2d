"""A model that must fail: without what a visit's readings share, intervals miss what came later.

Both models meet the same campaigns, which neither made; only the priors of the shared effects
(visit, wander, season) differ.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from aging import cube
from aging.campaigns import campaigns
from aging.decay.priors import Priors, priors_for
from aging.projection import posterior
from aging.simulation import STUDY, campaign_streams, sized
from aging.vocabulary import PROPERTIES

REAL = priors_for(PROPERTIES["solar_reflectance"])
LATE, NUMBER = 36, 5
DESIGN = replace(
    sized(STUDY, formulations=4, panels=2), visits=(0, 1, 2, 4, 6, 9, 12),
    scatter=replace(STUDY.scatter, visit=1.6),
)  # fmt: skip


def without_visits(priors):
    table = priors.table.copy()
    shared = ["visit", "wander", "season"]
    table.loc[shared, "value"] = table.loc[shared, "value"] / 100
    return Priors(table, priors.time)


def held(campaign, priors):
    """Whether the 90 % interval from the first year held each formulation's reading at LATE."""
    at_late = campaign.truth.query("months == @LATE").set_index(["site", "formulation"])["reading"]
    built = cube.build(campaign.exposure)
    for one in campaigns(built, campaign.exposure.weather, "solar_reflectance"):
        reading = posterior(one, priors, draws=500).at([float(LATE)])[1][0]
        low, high = np.quantile(reading, [0.05, 0.95], axis=0)
        truth = at_late.loc[[(one.site, name) for name in one.formulations]].to_numpy()
        yield from (low <= truth) & (truth <= high)


@pytest.fixture(scope="module")
def studies():
    return list(campaign_streams("dirt and rain", NUMBER, 5, DESIGN))


def coverage(studies, priors):
    return float(np.mean([inside for one in studies for inside in held(one, priors)]))


def test_intervals_hold_with_visit_effects_and_fail_without(studies):
    real, control = coverage(studies, REAL), coverage(studies, without_visits(REAL))
    print(f"\ncoverage {real:.3f} with visit effects, {control:.3f} without")
    assert real >= 0.85
    assert control <= 0.70
