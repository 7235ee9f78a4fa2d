"""Courses that a loss may follow: closed forms that are not how a projection sees it.

Notation: t months exposed, k rate [1/month], b exponent. Each gives the loss as a share, so that
its size stays free; all broadcast. "dirt and rain" is no closed form: see `mechanism`.
Two pools and stretched exponentials are usual for mixed kinetics, a power of time (square root:
diffusion) for weathering, a logistic curve for growth; as courses of soiling they are assumed.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from aging.simulation.weather import Array

HORIZON = 36.0  # months at which sizes are stated
MECHANISTIC = "dirt and rain"
COURSES = (
    MECHANISTIC,
    "exponential",
    "stretched exponential",
    "two pools",
    "power of time",
    "seasonal",
    "late growth",
)

Numbers = npt.NDArray[np.float64] | float


@dataclass(frozen=True)
class Habit:
    """What a climate does to a loss: a factor of its size, its rate [1/month], factor of growth."""

    loss: float
    rate: float
    growth: float


HABITS = MappingProxyType(
    {
        "hot-humid": Habit(1.25, 0.22, 1.0),
        "hot-dry": Habit(0.6, 0.11, 0.0),
        "temperate-urban": Habit(1.0, 0.16, 0.25),
    }
)


def exponential(t: Numbers, k: Numbers) -> Array:
    """Fast at first, then a plateau."""
    return -np.expm1(-np.multiply(k, t))


def stretched(t: Numbers, k: Numbers, b: Numbers) -> Array:
    """Exponential in a power of time: faster at first and slower later where b < 1."""
    return -np.expm1(-(np.multiply(k, t) ** b))


def two_pools(t: Numbers, k: Numbers, share: Numbers, slow: Numbers) -> Array:
    """A `share` is lost at rate k, the rest at the rate `slow`."""
    return share * exponential(t, k) + np.subtract(1, share) * exponential(t, slow)


def power_of_time(t: Numbers, b: Numbers) -> Array:
    """No plateau within the horizon."""
    return np.divide(t, HORIZON) ** b


def season(t: Numbers, phase: Numbers) -> Array:
    """A yearly swing about 0 that grows in over the first months, as a clean panel shows none."""
    return exponential(t, 0.25) * np.sin(2 * np.pi * np.divide(t, 12) + phase)


def late_growth(t: Numbers, onset: Numbers, pace: Numbers) -> Array:
    """Logistic: 12 % at the onset, then e-fold in each `pace` [months] until it slows."""
    return 1 / (1 + np.exp(2 - np.subtract(t, onset) / pace))
