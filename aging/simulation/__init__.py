"""Seeded, mechanistic exposure campaigns whose truth is known: for the sample, tests and studies.

Sites, formulations and all magnitudes are assumptions of an invented scenario, chosen so that a
white coating loses about 0.20 of reflectance in three years in hot and humid, 0.14 in temperate
urban and 0.08 in hot and dry weather. They are no findings about any material or place.

>>> from aging.simulation import Design, simulate
>>> campaign = simulate(Design(months=12), seed=1)
>>> campaign.exposure.readings["property"].unique().tolist()
['solar_reflectance']

`python -m aging.simulation sample_exposure` writes the shipped sample anew, byte for byte.
"""

from __future__ import annotations

from aging.simulation.campaign import Campaign, simulate
from aging.simulation.scenario import Design, Formulation, Scatter, Site, blend

__all__ = ["Campaign", "Design", "Formulation", "Scatter", "Site", "blend", "simulate"]
