"""One seeded campaign: a design becomes the readings a technician logs, and the truth behind them.

Separate random streams for weather, materials, visits, papers and each property keep the readings
of a property the same whichever other properties are read.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from aging.records import Exposure
from aging.simulation.appearance import SIMULATED
from aging.simulation.effects import draw_material, draw_rounds
from aging.simulation.mechanism import weather_panels
from aging.simulation.scenario import Design
from aging.simulation.sheets import exposure_of
from aging.simulation.visits import Outdoors, observe
from aging.simulation.weather import CLIMATES, simulate_weather

SETTLED_DAYS = 60  # by then loose dirt has found its level


@dataclass(frozen=True)
class Campaign:
    """The exposure as logged, and the truth that a projection of it should find.

    `truth` columns: site, formulation, months, property, then values in the property's own unit
    (ratings before rounding): `state` of the formulation itself at the site's average dryness,
    without effects of panels; `state_of_panels` the same for the mean of its panels; `reading`,
    the mean of its panels as a visit on that day reads them, with the visit's shared error and
    the instrument's drift but without spot noise; `visited`, whether that visit took place. The
    design's marks are would-be visits with errors of their own.
    """

    exposure: Exposure
    truth: pd.DataFrame


def simulate(design: Design, seed: int) -> Campaign:
    """Expose, weather and read the panels of a design; equal seeds give equal campaigns."""
    streams = np.random.SeedSequence(seed).spawn(4 + len(SIMULATED))
    skies, batches, tours, papers, *looks = (np.random.default_rng(stream) for stream in streams)
    sites = np.arange(len(design.sites))
    climates = [CLIMATES[site.climate] for site in design.sites]
    rounds = draw_rounds(design, tours)
    weather = simulate_weather(climates, rounds.start, int(rounds.day.max()) + 1, skies)
    material = draw_material(design, batches)
    cover = weather_panels(weather, climates, material.hold, material.growth)
    read = cover.at(rounds.day, sites[:, None])
    usual = cover.loose[min(SETTLED_DAYS, len(cover.loose) // 2) :].mean(axis=0)[:, None]
    average = replace(read, loose=usual * (rounds.day > 0)[..., None, None])
    outdoors = Outdoors(design, material, rounds, read, average)

    by_name = dict(zip(SIMULATED, looks, strict=True))
    seen = [observe(outdoors, name, by_name[name]) for name in design.properties]
    log = pd.concat([log for log, _ in seen], ignore_index=True)
    truth = pd.concat([truth for _, truth in seen], ignore_index=True)
    return Campaign(exposure_of(design, log, rounds, weather, papers), truth)
