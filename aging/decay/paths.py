"""Courses of loss over time, each with one parameter, that the projection averages over.

phi(t) rises from 0 at t = 0; loss(t) = L phi(t). `pace` is d phi / d log(parameter), the direction
in which a group that soils a little faster departs from its site. Time t is in the unit of the
priors (months unless told otherwise), `span` is the horizon at which a plateau-less course is
scaled to 1.

Each course carries its equation as people read it; a test holds the equation to the code.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from aging.decay.site import Array

STRETCH = 0.6


@dataclass(frozen=True)
class Course:
    """phi and its pace direction for parameters (N,) at times (V,), each returned as (N, V).

    equation: phi as text, in k (or n), t and span.
    """

    name: str
    equation: str
    about: str
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
            "1 - exp(-k t)",
            "most of the loss comes in year 1 (Bretz and Akbari 1997)",
            lambda k, t, _: -np.expm1(-_kt(k, t)),
            lambda k, t, _: _kt(k, t) * np.exp(-_kt(k, t)),
        ),
        Course(
            "stretched",
            "1 - exp(-(k t)^0.6)",
            "a faster start and a slower end",
            lambda k, t, _: -np.expm1(-(_kt(k, t) ** STRETCH)),
            lambda k, t, _: STRETCH * _kt(k, t) ** STRETCH * np.exp(-(_kt(k, t) ** STRETCH)),
        ),
        Course(
            "delayed",
            "1 - (1 + k t) exp(-k t)",
            "two steps in a row: loose dirt first, then bound",
            lambda k, t, _: 1 - (1 + _kt(k, t)) * np.exp(-_kt(k, t)),
            lambda k, t, _: _kt(k, t) ** 2 * np.exp(-_kt(k, t)),
        ),
        Course(
            "power",
            "(t / span)^n",
            "no plateau (Meeker and Escobar, degradation data)",
            lambda n, t, s: _power(n, t, s)[0],
            lambda n, t, s: _power(n, t, s)[1],
        ),
    )
}
