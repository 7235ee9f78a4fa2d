"""Seeded, mechanistic exposure campaigns whose truth is known: for the sample, tests and studies.

Sites, formulations and all magnitudes are assumptions of an invented scenario, chosen so that a
white coating loses about 0.20 of reflectance in three years in hot and humid, 0.14 in temperate
urban and 0.08 in hot and dry weather. They are no findings about any material or place.

>>> from aging.simulation import Design, simulate
>>> campaign = simulate(Design(months=12), seed=1)
>>> campaign.exposure.readings["property"].unique().tolist()
['solar_reflectance']

Besides dirt and rain a loss may follow closed-form courses, which are no projection's own model:

>>> from aging.simulation import campaign_streams
>>> [len(one.truth) > 0 for one in campaign_streams("late growth + storm", n=2, seed=1)]
[True, True]

`python -m aging.simulation sample_exposure` writes the shipped sample anew, byte for byte.
"""

from __future__ import annotations

from aging.simulation.campaign import Campaign, simulate
from aging.simulation.courses import COURSES
from aging.simulation.merge import merge
from aging.simulation.scenario import Design, Formulation, Scatter, Site, blend, coats
from aging.simulation.study import (
    DISTURBANCES,
    STUDY,
    campaign_streams,
    precedents,
    schedule,
    sized,
    study,
)
from aging.simulation.write import write_campaign

__all__ = [
    "COURSES",
    "DISTURBANCES",
    "STUDY",
    "Campaign",
    "Design",
    "Formulation",
    "Scatter",
    "Site",
    "blend",
    "campaign_streams",
    "coats",
    "merge",
    "precedents",
    "schedule",
    "simulate",
    "sized",
    "study",
    "write_campaign",
]
