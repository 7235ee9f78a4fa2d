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
from aging.simulation.effects import Material, Rounds, draw_drift
from aging.simulation.mechanism import Cover
from aging.simulation.scenario import Design
from aging.simulation.weather import Array, Flag
from aging.vocabulary import DAYS_PER_MONTH, PROPERTIES


@dataclass(frozen=True)
class Outdoors:
    """What the weather did to the members by each visit.

    `cover` as on the day, `average` with the loose cover of an average day at the site; both
    (sites, visits, formulations, members).
    """

    design: Design
    material: Material
    rounds: Rounds
    cover: Cover
    average: Cover


def observe(
    outdoors: Outdoors, name: str, rng: np.random.Generator
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Log and truth of one property.

    The log counts site, visit, formulation, member (from 0) and holds property, surface_state,
    value, spot_sd; the truth is as in `Campaign`.
    """
    design, rounds, look = outdoors.design, outdoors.rounds, SIMULATED[name]
    initial = outdoors.material.initial
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
    truth = _truth(outdoors, name, average[..., 0], average[..., panels], true[..., panels])

    planned = len(design.visits)
    read = np.broadcast_to(rounds.seen[..., None, None], true[:, :planned].shape).copy()
    read[..., 0] = False
    if name != "solar_reflectance":
        read[:, np.arange(planned) % design.sparse > 0] = False
    if not look.instrument:
        read[..., panels.stop :] = False
    twin = read & outside & np.isin(design.visits, design.washed)[:, None, None]
    logs = [_log(outdoors, name, "as_exposed", value=true[:, :planned], read=read, rng=rng)]
    if look.instrument and twin.any():
        clean = value(outdoors.cover.washed()) + error
        logs.append(_log(outdoors, name, "washed", value=clean[:, :planned], read=twin, rng=rng))
    return pd.concat(logs, ignore_index=True), truth


def _log(
    outdoors: Outdoors,
    name: str,
    surface_state: str,
    *,
    value: Array,
    read: Flag,
    rng: np.random.Generator,
) -> pd.DataFrame:
    design, prop, look = outdoors.design, PROPERTIES[name], SIMULATED[name]
    where = np.nonzero(read & (rng.random(read.shape) >= design.missing_reading))
    spots = design.spots if look.instrument else 1
    spot = design.scatter.spot * look.spot
    noise = spot / np.sqrt(spots) * rng.standard_normal(len(where[0]))
    shown = np.clip(np.round((value[where] + noise) / prop.step) * prop.step, prop.low, prop.high)
    sd = np.full(len(shown), np.nan)
    if spots > 1:
        sd = spot * np.sqrt(rng.chisquare(spots - 1, len(shown)) / (spots - 1))
    return pd.DataFrame(
        dict(zip(("site", "visit", "formulation", "member"), where, strict=True))
    ).assign(
        property=name,
        surface_state=surface_state,
        value=shown.round(prop.decimals) + 0.0,
        spot_sd=sd.round(prop.decimals + 1),
    )


def _truth(
    outdoors: Outdoors, name: str, state: Array, state_of_panels: Array, reading: Array
) -> pd.DataFrame:
    design, rounds = outdoors.design, outdoors.rounds
    sites, visits, blends = np.indices(state.shape).reshape(3, -1)
    marks = np.tile(design.marks, (len(design.sites), 1))
    months = np.hstack([rounds.day[:, : len(design.visits)] / DAYS_PER_MONTH, marks]).round(2)
    seen = np.hstack([rounds.seen, np.zeros(marks.shape, dtype=bool)])
    wanted = np.hstack([rounds.seen, np.ones(marks.shape, dtype=bool)])[sites, visits]
    return (
        pd.DataFrame(
            {
                "site": np.array([site.site for site in design.sites])[sites],
                "formulation": np.array([f.formulation for f in design.formulations])[blends],
                "months": months[sites, visits],
                "property": name,
                "state": state.ravel(),
                "state_of_panels": state_of_panels.mean(axis=-1).ravel(),
                "reading": reading.mean(axis=-1).ravel(),
                "visited": seen[sites, visits],
            }
        )[wanted]
        .drop_duplicates(["site", "formulation", "months"])  # a visit on a mark stands for it
        .sort_values(["site", "formulation", "months"], ignore_index=True)
    )
