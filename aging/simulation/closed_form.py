"""Panels that follow a closed-form course: their traits drawn, rain, growth and sunlight on top.

Every loss becomes the optical depth that gives it (see `mechanism`), so that all that is read of
a panel follows as from simulated dirt. Axes: site, visit, formulation, member. All sizes are
assumed; `Design.scatter` sizes what differs between sites, formulations and panels.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from aging.simulation import courses
from aging.simulation.courses import HABITS, HORIZON, Numbers
from aging.simulation.effects import Rounds
from aging.simulation.mechanism import R_DIRT, WEATHERING, Cover, usual
from aging.simulation.scenario import Design
from aging.simulation.weather import Array
from aging.vocabulary import DAYS_PER_MONTH

INITIAL = 0.84
LOSS = (0.10, 0.24)  # of a formulation in a climate of factor 1, by the horizon
WEATHERED = (0.0, 0.0010)  # per month
DIRTY_DAY = (0.02, 0.03)  # darker after a long drought than after rain
DRYING_DAYS, CLEANING_RAIN_MM = 15.0, 3.0
SWING = (0.01, 0.03)
GROWN, ONSET, PACE = (0.04, 0.10), (16.0, 25.0), (1.2, 2.5)
LEAST_LEFT = 0.02  # share of the way to the colour of dirt that always remains


def expose(
    design: Design, rounds: Rounds, rain_mm: Array, rng: np.random.Generator
) -> tuple[Array, Cover, Cover]:
    """Initial reflectance, covers at the visits, and those of an average day at the site.

    `rain_mm` (days, sites). Initial (sites, formulations, members), covers with visits as second
    axis. Equal generators give the same formulations and panels whichever the course.
    """
    scatter, site = design.scatter, np.arange(len(design.sites))
    habits = [HABITS[one.climate] for one in design.sites]
    loss, rate, fertile = (
        np.array([getattr(habit, name) for habit in habits])[:, None, None, None]
        for name in ("loss", "rate", "growth")
    )
    sizes = {"site": len(site), "coat": len(design.formulations)}
    sizes["member"] = 1 + design.panels + design.file_specimens
    own = (np.arange(sizes["member"]) > 0).astype(float)

    def shape(among: str) -> tuple[int, int, int, int]:
        s, f, m = (size if name in among.split() else 1 for name, size in sizes.items())
        return s, 1, f, m

    def normal(sd: float, among: str) -> Array:
        draw = sd * rng.standard_normal(shape(among))
        return draw * own if "member" in among else draw

    def uniform(limits: tuple[float, float], among: str) -> Array:
        return rng.uniform(*limits, shape(among))

    initial = INITIAL + normal(scatter.batch_initial, "coat")
    initial = initial + normal(scatter.panel_initial, "site coat member")
    size = loss * uniform(LOSS, "coat") * np.exp(
        normal(scatter.site_soiling, "site") + normal(scatter.interaction, "site coat")
        + normal(scatter.panel_soiling, "site coat member")
    )  # fmt: skip
    part = scatter.rate / np.sqrt(2)
    rate = rate * np.exp(normal(part, "site") + normal(part, "site coat"))
    weathered = uniform(WEATHERED, "site coat")
    dirty_day = uniform(DIRTY_DAY, "site coat")

    t = (rounds.day / DAYS_PER_MONTH)[..., None, None]
    course = _course(design.course, rate, rng)
    bound = size * course(t) / course(HORIZON)
    growth = np.zeros_like(bound)
    if design.course == "seasonal":
        turn = uniform((0, 2 * np.pi), "site")
        bound = bound + uniform(SWING, "site") * courses.season(t, turn)
    if design.course == "late growth":
        spread = fertile * uniform(GROWN, "coat") * np.exp(
            normal(scatter.site_growth, "site") + normal(scatter.panel_growth, "site coat member")
        )  # fmt: skip
        onset = uniform(ONSET, "site") + uniform((-1, 1), "site coat")
        growth = spread * courses.late_growth(t, onset, uniform(PACE, "site"))

    dry = _dirtiness(rain_mm)
    today = dry[rounds.day, site[:, None]][..., None, None]
    average = (usual(dry)[:, None] * (rounds.day > 0))[..., None, None]
    left = initial - R_DIRT
    bound, left = _depth(bound, left)
    growth, left = _depth(growth, left)
    cover = Cover(_depth(dirty_day * today, left)[0], bound, growth, weathered * t / WEATHERING)
    return initial[:, 0], cover, replace(cover, loose=_depth(dirty_day * average, left)[0])


def _course(name: str, rate: Array, rng: np.random.Generator) -> Callable[[Numbers], Array]:
    match name:
        case "stretched exponential":
            return partial(courses.stretched, k=rate, b=rng.uniform(0.5, 0.8))
        case "two pools":
            share, slow = rng.uniform(0.4, 0.7), rng.uniform(0.02, 0.05)
            return partial(courses.two_pools, k=2 * rate, share=share, slow=slow)
        case "power of time":
            return partial(courses.power_of_time, b=rng.uniform(0.35, 0.65))
    return partial(courses.exponential, k=rate)


def _dirtiness(rain_mm: Array) -> Array:
    """Share of a dirty day on each day: 0 after rain and at mounting, near 1 after a drought."""
    day = np.arange(len(rain_mm))[:, None]
    cleaned = np.where(rain_mm >= CLEANING_RAIN_MM, day, 0)
    return -np.expm1(-(day - np.maximum.accumulate(cleaned)) / DRYING_DAYS)


def _depth(loss: Array, left: Array) -> tuple[Array, Array]:
    """Optical depth that takes `loss` of the way `left` to the colour of dirt, and what remains."""
    after = np.maximum(left - loss, LEAST_LEFT * left)
    return np.log(left / after), after
