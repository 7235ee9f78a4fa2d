"""One seeded campaign: a design becomes the readings a technician logs, and the truth behind them.

Separate random streams for weather, materials, visits, papers and each property keep the readings
of a property the same whichever other properties are read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from aging.records import Exposure
from aging.simulation.appearance import SIMULATED
from aging.simulation.closed_form import expose
from aging.simulation.courses import MECHANISTIC
from aging.simulation.effects import Rounds, draw_material, draw_present, draw_rounds
from aging.simulation.mechanism import Cover, usual, weather_panels
from aging.simulation.scenario import Design
from aging.simulation.sheets import exposure_of
from aging.simulation.visits import Outdoors, observe
from aging.simulation.weather import CLIMATES, Array, simulate_weather


@dataclass(frozen=True)
class Campaign:
    """The exposure as logged, and the truth that a projection of it should find.

    `truth` columns: site, formulation, months, property, then values in the property's own unit
    (ratings before rounding): `state` of the formulation itself at the site's average dryness,
    without effects of panels; `state_of_panels` the same for the mean of its panels; `reading`,
    the mean of its panels as a visit on that day reads them, with the visit's shared error and
    the instrument's drift but without spot noise; `visited`, whether that visit took place. The
    design's marks are would-be visits with errors of their own. `drift` columns: site, read_on
    and a column a property, what its instrument read beyond the last calibration.
    """

    exposure: Exposure
    truth: pd.DataFrame
    drift: pd.DataFrame


def simulate(design: Design, seed: int | Sequence[int]) -> Campaign:
    """Expose, weather and read the panels of a design; equal seeds give equal campaigns."""
    streams = np.random.SeedSequence(seed).spawn(6 + len(SIMULATED))
    skies, batches, tours, papers, *looks, luck, form = map(np.random.default_rng, streams)
    climates = [CLIMATES[site.climate] for site in design.sites]
    rounds = draw_rounds(design, tours, luck)
    weather = simulate_weather(climates, rounds.start, int(rounds.day.max()) + 1, skies)
    if design.course == MECHANISTIC:
        initial, read, average = _soil(design, rounds, weather, batches)
    else:
        initial, read, average = expose(design, rounds, weather["rain_mm"], form)
    outdoors = Outdoors(design, initial, draw_present(design, luck), rounds, read, average)

    by_name = dict(zip(SIMULATED, looks, strict=True))
    seen = [observe(outdoors, name, by_name[name]) for name in design.properties]
    logs, truths, drifts = zip(*seen, strict=True)
    log, truth = (pd.concat(each, ignore_index=True) for each in (logs, truths))
    exposure = exposure_of(design, log, rounds, outdoors.present, weather, papers=papers)
    site, visit = np.nonzero(rounds.seen)
    off = {name: each[site, visit] for name, each in zip(design.properties, drifts, strict=True)}
    drift = pd.DataFrame(off).assign(
        site=np.array([one.site for one in design.sites])[site],
        read_on=(rounds.start[site] + rounds.day[site, visit]).astype(str),
    )
    return Campaign(exposure, truth, drift)


def _soil(
    design: Design, rounds: Rounds, weather: dict[str, Array], rng: np.random.Generator
) -> tuple[Array, Cover, Cover]:
    """Day by day, to the same ends as `expose`."""
    material = draw_material(design, rng)
    climates = [CLIMATES[site.climate] for site in design.sites]
    cover = weather_panels(weather, climates, material.hold, material.growth)
    read = cover.at(rounds.day, np.arange(len(climates))[:, None])
    clean_at_first = (rounds.day > 0)[..., None, None]
    return material.initial, read, replace(read, loose=usual(cover.loose)[:, None] * clean_at_first)
