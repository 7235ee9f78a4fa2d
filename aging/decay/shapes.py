"""The shapes a decay path may take, each linear in all but one parameter.

Notation: t months since exposure, y the property, u = (t - origin)/span scaled time, k the rate
(1/month) or, for the power of time, the exponent. Every shape is

    y = a + c u + b f(kappa),    f = expm1(kappa clock(u)) + lift

with the constant a, an optional straight line c u and one curved column f, so that for a fixed
kappa > 0 the rest is linear least squares (variable projection; Golub & Pereyra 1973,
doi 10.1137/0710036). The origin is the first reading's month where the shape may be shifted in
time, and month 0 where it may not.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from aging.errors import require

FloatArray = npt.NDArray[np.float64]
Path = Callable[[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray], FloatArray]

SATURATED = 23.0  # exp(-23) = 1e-10: beyond it the curve is a step at the first reading
LOG_OF_ZERO = -1e4  # stands for log 0; exp of it times any allowed exponent is 0


@dataclass(frozen=True)
class Shape:
    """One shape: its curved column, the bounds of kappa in scaled time, and its words.

    `high` None means: up to the step, kappa times the first gap between readings = SATURATED. Below
    `dense` the curve is so nearly straight that the sum of squares has one dip at most.
    `path(t, start, loss, rate, drift)` is the shape itself, in months.
    """

    name: str
    label: str
    equation: str
    path: Path
    clock: Callable[[FloatArray], FloatArray] | None = None
    lift: float = 0.0
    low: float = 1.0
    dense: float = 1.0
    high: float | None = None
    drifts: bool = False
    shifts: bool = True

    @property
    def parameters(self) -> tuple[str, ...]:
        """Names of the parameters a fit estimates, in the order of its covariance."""
        curved = ("loss", "rate") if self.clock else ()
        return ("start", *curved, *(("drift",) if self.drifts else ()))


def _exponential(
    t: FloatArray, start: FloatArray, loss: FloatArray, rate: FloatArray, drift: FloatArray
) -> FloatArray:
    return np.asarray(start + loss * np.expm1(-rate * t) - drift * t)


def _power(
    t: FloatArray, start: FloatArray, loss: FloatArray, rate: FloatArray, drift: FloatArray
) -> FloatArray:
    return np.asarray(start - loss * t**rate - drift * t)


def _log_clock(u: FloatArray) -> FloatArray:
    return np.log(u, where=u > 0, out=np.full_like(u, LOG_OF_ZERO))


def _table(*rows: Shape) -> Mapping[str, Shape]:
    return MappingProxyType({row.name: row for row in rows})


SHAPES = _table(
    Shape("exponential", "Exponential approach to a plateau",
          "y = start - loss (1 - exp(-rate t))",
          _exponential, np.negative, low=1e-4, dense=0.125),
    Shape("exponential_drift", "Exponential approach to a plateau, and slow linear drift",
          "y = start - loss (1 - exp(-rate t)) - drift t",
          _exponential, np.negative, low=0.1, dense=0.1, drifts=True),
    Shape("power", "Power of time",
          "y = start - loss t^rate (the rate is the exponent)",
          _power, _log_clock, lift=1.0, low=0.0125, dense=0.0125, high=12.8,
          shifts=False),
    Shape("line", "Straight line",
          "y = start - drift t",
          _exponential, drifts=True),
)  # fmt: skip


def shape_named(name: str) -> Shape:
    """The shape of that name, or CallError with the names there are."""
    require(name in SHAPES, "decay shape", name, SHAPES)
    return SHAPES[name]
