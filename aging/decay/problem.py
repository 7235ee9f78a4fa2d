"""One curved column per series: what both engines minimise and the intervals scan.

Notation (per series): y = Q a + b f(theta) with theta = log kappa (see shapes.py), Q orthonormal
columns of what does not depend on theta. Everything is multiplied by the root of the weights.
With f and y made orthogonal to Q, the sum of squares left after the linear part is
rss(theta) = |y|^2 - (f'y)^2 / |f|^2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from aging.decay.ragged import FloatArray, IntArray, Ragged
from aging.decay.shapes import SATURATED, Shape

STEP = 0.5 * float(
    np.log(2.0)
)  # of theta, half an octave; two dips of rss closer than that may pass for one


@dataclass(frozen=True)
class Solution:
    """What an engine finds. theta, rss (S,); origin, span, highest as in Problem.

    r (P, P, S): [fixed columns, f, df/dtheta] = Q r; coordinates: Q'y of all but df/dtheta.
    """

    theta: FloatArray
    rss: FloatArray
    origin: FloatArray
    span: FloatArray
    highest: FloatArray
    r: FloatArray
    coordinates: FloatArray


@dataclass(frozen=True)
class Problem:
    """S series with N readings. `target` is y orthogonal to `fixed` (m, N); flat arrays are (N,).

    origin, span (S,): months to scaled time. highest (S,): upper bound of theta; steps (S,): of the
    grid below it. r (m, m, S): Q r = the fixed columns. coordinates (m, S): Q'y.
    """

    shape: Shape
    rows: Ragged
    origin: FloatArray
    span: FloatArray
    clock: FloatArray
    root_weight: FloatArray
    target: FloatArray
    fixed: FloatArray
    r: FloatArray
    coordinates: FloatArray
    highest: FloatArray
    steps: IntArray

    def take(self, series: npt.NDArray[np.integer[Any]]) -> Problem:
        """The chosen series as a problem of their own."""
        rows, at = self.rows.take(series)
        return replace(
            self, rows=rows, origin=self.origin[series], span=self.span[series],
            clock=self.clock[at], root_weight=self.root_weight[at], target=self.target[at],
            fixed=self.fixed[:, at], r=self.r[:, :, series],
            coordinates=self.coordinates[:, series], highest=self.highest[series],
            steps=self.steps[series],
        )  # fmt: skip

    @property
    def grid(self) -> FloatArray:
        """The lower bound of theta and the nodes up to the upper one (G, S), filled up with it."""
        down = np.maximum(self.steps - np.arange(self.steps.max() + 1)[:, None], 0)
        return np.vstack((np.full(len(self.rows), np.log(self.shape.low)),
                          self.highest - STEP * down))  # fmt: skip

    def columns(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The curved column f and df/dtheta at theta (S,), both (N,)."""
        z = self.rows.spread(np.exp(theta)) * self.clock
        f = np.expm1(z)
        return self.root_weight * (f + self.shape.lift), self.root_weight * z * (f + 1)


def orthonormal(
    column: FloatArray, basis: Sequence[FloatArray], rows: Ragged
) -> tuple[list[FloatArray], FloatArray]:
    """A column's coordinates along an orthonormal basis and its own new unit vector, which ends it.

    The coordinates are the column's entries in R, the last one the length of what is left.
    """
    along = []
    for q in basis:
        along.append(rows.sum(q * column))
        column = column - q * rows.spread(along[-1])
    along.append(np.sqrt(rows.sum(column**2)))
    return along, column / rows.spread(along[-1])


def set_up(
    months: FloatArray,
    values: FloatArray,
    weights: FloatArray | None,
    rows: Ragged,
    shape: Shape,
    *,
    free_start: bool,
) -> Problem:
    """Scale time and take out what is linear. Needs two distinct months in every series."""
    first, last = months[rows.offsets[:-1]], months[rows.offsets[1:] - 1]
    origin = first if shape.shifts and free_start else np.zeros(len(rows))
    span = last - origin
    u = (months - rows.spread(origin)) / rows.spread(span)
    root = np.ones_like(u) if weights is None else np.sqrt(weights)
    basis: list[FloatArray] = []
    r = np.zeros((free_start + shape.drifts, free_start + shape.drifts, len(rows)))
    for j, column in enumerate([root] * free_start + [root * u] * shape.drifts):
        along, q = orthonormal(column, basis, rows)
        r[: j + 1, j] = along
        basis.append(q)
    target, coordinates = root * values, np.empty((len(basis), len(rows)))
    for j, q in enumerate(basis):
        coordinates[j] = rows.sum(q * target)
        target = target - q * rows.spread(coordinates[j])
    clock, high = u, np.ones(len(rows))
    if shape.clock is not None:
        clock = shape.clock(u)
        gap = np.minimum.reduceat(np.where(clock < 0, -clock, np.inf), rows.offsets[:-1])
        high = SATURATED / gap if shape.high is None else high * shape.high
    highest = np.log(high)
    return Problem(
        shape=shape, rows=rows, origin=origin, span=span, clock=clock, root_weight=root,
        target=target, fixed=np.array(basis).reshape(len(basis), u.size), r=r,
        coordinates=coordinates, highest=highest,
        steps=((highest - np.log(shape.dense)) / STEP + 1e-9).astype(np.intp),
    )  # fmt: skip
