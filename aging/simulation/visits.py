"""What one property shows at the visits: the true values, and the readings logged of them.

    value(site, visit, member) = look(covers of the member that day) + effect of the member
                               + error shared by the visit + drift of the instrument
    reading                    = value + mean noise of its spots, rounded to the property's step

File specimens stay indoors: no cover and no shared error, so that they show the drift alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from aging.simulation.appearance import SIMULATED
from aging.simulation.effects import Rounds, draw_drift
from aging.simulation.mechanism import Cover
from aging.simulation.scenario import Design
from aging.simulation.weather import Array, Flag
from aging.simulation.words import ranks, spelt
from aging.vocabulary import DAYS_PER_MONTH, PROPERTIES


@dataclass(frozen=True)
class Outdoors:
    """What the weather did to the members by each visit.

    `initial` reflectance and whether a member is `present`, (sites, formulations, members);
    `cover` as on the day, `average` with the loose cover of an average day at the site, both
    (sites, visits, formulations, members).
    """

    design: Design
    initial: Array
    present: Flag
    rounds: Rounds
    cover: Cover
    average: Cover


def observe(
    outdoors: Outdoors, name: str, rng: np.random.Generator
) -> tuple[pd.DataFrame, pd.DataFrame, Array]:
    """Log and truth of one property, and the drift of what reads it (sites, planned).

    The log counts site, visit, formulation, member and property (all from 0, property in the
    design's order) and holds washed (0 or 1), value, spot_sd; the truth is as in `Campaign`.
    """
    design, rounds, look = outdoors.design, outdoors.rounds, SIMULATED[name]
    initial = outdoors.initial
    panels = slice(1, 1 + design.panels)
    outside = np.arange(initial.shape[2]) < panels.stop
    effect = look.panel * rng.standard_normal(initial.shape) * (np.arange(initial.shape[2]) > 0)
    drift = draw_drift(rounds.day, design.scatter.drift * look.drift, rng)
    shared = look.visit * rounds.shared

    def value(cover: Cover) -> Array:
        return look.model(cover.times(outside), initial[:, None]) + effect[:, None]

    error = shared[..., None, None] * outside + drift[..., None, None]
    true = value(outdoors.cover) + error
    average = value(outdoors.average)
    hung = outdoors.present[:, None, :, panels]
    truth = _truth(
        outdoors, name, average[..., 0],
        *((hung * part[..., panels]).sum(axis=-1) / hung.sum(axis=-1) for part in (average, true)),
    )  # fmt: skip

    planned = len(design.visits)
    read = rounds.seen[..., None, None] & outdoors.present[:, None]
    read[..., 0] = False
    if name != "solar_reflectance":
        read[:, np.arange(planned) % design.sparse > 0] = False
    if not look.instrument:
        read[..., panels.stop :] = False
    twin = read & outside & np.isin(design.visits, design.washed)[:, None, None]
    logs = [_log(outdoors, name, washed=False, value=true, read=read, rng=rng)]
    if look.instrument and twin.any():
        clean = value(outdoors.cover.washed()) + error
        logs.append(_log(outdoors, name, washed=True, value=clean, read=twin, rng=rng))
    return pd.concat(logs, ignore_index=True), truth, drift[:, :planned]


def _log(
    outdoors: Outdoors,
    name: str,
    *,
    washed: bool,
    value: Array,
    read: Flag,
    rng: np.random.Generator,
) -> pd.DataFrame:
    design, prop, look = outdoors.design, PROPERTIES[name], SIMULATED[name]
    where = np.nonzero(read & (rng.random(read.shape) >= design.missing_reading))
    spots = design.spots if look.instrument else 1
    spot = design.scatter.spot * look.spot
    noise = spot / np.sqrt(spots) * rng.standard_normal(len(where[0]))
    shown = outdoors.rounds.labelled(value)[where] + noise
    shown = np.clip(np.round(shown / prop.step) * prop.step, prop.low, prop.high)
    sd = np.full(len(shown), np.nan)
    if spots > 1:
        sd = spot * np.sqrt(rng.chisquare(spots - 1, len(shown)) / (spots - 1))
    return pd.DataFrame(
        {
            **dict(zip(("site", "visit", "formulation", "member"), where, strict=True)),
            "property": design.properties.index(name),
            "washed": int(washed),
            "value": shown.round(prop.decimals) + 0.0,
            "spot_sd": sd.round(prop.decimals + 1),
        }
    )


def _truth(
    outdoors: Outdoors, name: str, state: Array, state_of_panels: Array, reading: Array
) -> pd.DataFrame:
    design, rounds = outdoors.design, outdoors.rounds
    sites = [site.site for site in design.sites]
    blends = [blend.formulation for blend in design.formulations]
    planned = len(design.visits)
    marks = np.tile(design.marks, (len(sites), 1))
    months = np.hstack([rounds.day[:, :planned] / DAYS_PER_MONTH, marks]).round(2)
    seen = np.hstack([rounds.seen, np.zeros(marks.shape, dtype=bool)])
    visited_too = (months[:, planned:, None] == months[:, None, :planned]) & rounds.seen[:, None]
    stands = np.hstack([rounds.seen, ~visited_too.any(axis=-1)])  # a visit stands for its mark
    at = site, visit, blend = np.nonzero(np.broadcast_to(stands[..., None], state.shape))
    order = np.lexsort((months[site, visit], ranks(blends)[blend], ranks(sites)[site]))
    at = site, visit, blend = tuple(part[order] for part in at)
    return pd.DataFrame(
        {
            "site": spelt(sites, site),
            "formulation": spelt(blends, blend),
            "months": months[site, visit],
            "property": name,
            "state": state[at],
            "state_of_panels": state_of_panels[at],
            "reading": reading[at],
            "visited": seen[site, visit],
        }
    )
