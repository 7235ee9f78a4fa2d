"""Courses of loss over time, each with one parameter, that the projection averages over.

phi(t) rises from 0 at t = 0; loss(t) = L phi(t). `pace` is d phi / d log(parameter), the direction
in which a group that soils a little faster departs from its site. Time t is in the unit of the
priors (months unless told otherwise), `span` is the horizon at which a plateau-less course is
scaled to 1.

exponential : phi = 1 - exp(-k t)            Bretz and Akbari 1997: most loss in year 1
stretched   : phi = 1 - exp(-(k t)^0.6)      faster start, slower end
delayed     : phi = 1 - (1 + k t) exp(-k t)  two steps in a row: loose dirt first, then bound
power       : phi = (t / span)^n             no plateau; Meeker and Escobar (degradation data)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from aging.decay.site import Array

STRETCH = 0.6


@dataclass(frozen=True)
class Course:
    """phi and its pace direction for parameters (N,) at times (V,), each returned as (N, V)."""

    name: str
    phi: Callable[[Array, Array, float], Array]
    pace: Callable[[Array, Array, float], Array]


def _kt(rate: Array, months: Array) -> Array:
    return rate[:, None] * np.maximum(months, 0.0)


def _power(exponent: Array, months: Array, span: float) -> tuple[Array, Array]:
    log_t = np.log(np.maximum(months, 1e-3 * span) / span)
    seen = months > 0
    phi = np.where(seen, np.exp(exponent[:, None] * log_t), 0.0)
    return phi, phi * exponent[:, None] * log_t


COURSES = {
    course.name: course
    for course in (
        Course(
            "exponential",
            lambda k, t, _: -np.expm1(-_kt(k, t)),
            lambda k, t, _: _kt(k, t) * np.exp(-_kt(k, t)),
        ),
        Course(
            "stretched",
            lambda k, t, _: -np.expm1(-(_kt(k, t) ** STRETCH)),
            lambda k, t, _: STRETCH * _kt(k, t) ** STRETCH * np.exp(-(_kt(k, t) ** STRETCH)),
        ),
        Course(
            "delayed",
            lambda k, t, _: 1 - (1 + _kt(k, t)) * np.exp(-_kt(k, t)),
            lambda k, t, _: _kt(k, t) ** 2 * np.exp(-_kt(k, t)),
        ),
        Course("power", lambda n, t, s: _power(n, t, s)[0], lambda n, t, s: _power(n, t, s)[1]),
    )
}
