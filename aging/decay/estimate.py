"""From the found log rate to parameters in months, their sum of squares and covariance.

The engines leave a QR factorisation [1 u f df/dtheta] = Q R, so the linear parameters and the
covariance s^2 (J'J)^-1 = s^2 R^-1 R^-T follow without normal equations; the delta method carries
them to start, loss, rate and drift.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aging.decay.problem import Solution
from aging.decay.ragged import FloatArray
from aging.decay.shapes import Shape


@dataclass(frozen=True)
class Estimate:
    """Arrays (S,) as in SeriesFit; unit_covariance (S, P, P) is to be multiplied by sigma^2."""

    start: FloatArray
    loss: FloatArray
    rate: FloatArray
    drift: FloatArray
    origin: FloatArray
    level: FloatArray
    swing: FloatArray
    rss: FloatArray
    unit_covariance: FloatArray


def upper_inverse(r: FloatArray) -> FloatArray:
    """Inverses of upper triangular matrices (P, P, S)."""
    inverse = np.zeros_like(r)
    for j in range(len(r)):
        inverse[j, j] = 1 / r[j, j]
        for i in reversed(range(j)):
            known = (r[i, i + 1 : j + 1] * inverse[i + 1 : j + 1, j]).sum(axis=0)
            inverse[i, j] = -known / r[i, i]
    return inverse


def loss_scale(shape: Shape, kappa: FloatArray, origin: FloatArray, span: FloatArray) -> FloatArray:
    """Factor from b of the scaled column to the loss of the path counted from month 0."""
    return np.asarray(np.exp(kappa * origin / span) if shape.shifts else -(span**-kappa))


def estimate(solution: Solution, shape: Shape, start: float | None) -> Estimate:
    """Parameters in months of every series; start is the known start, None where estimated."""
    r, coordinates, origin, span = (
        solution.r, solution.coordinates, solution.origin, solution.span
    )  # fmt: skip
    free, curved = int(start is None), shape.clock is not None
    m = free + shape.drifts
    zero = np.zeros(len(span))
    kappa = b = zero
    if curved:
        kappa, b = np.exp(solution.theta), coordinates[m] / r[m, m]
        r = r.copy()
        r[:, m + 1] *= b
    inverse = upper_inverse(r)
    known = len(coordinates)
    linear = np.einsum("ijs,js->is", inverse[:known, :known], coordinates)
    level = linear[0] if start is None else zero + start
    drift = -linear[free] / span if shape.drifts else zero
    scale = loss_scale(shape, kappa, origin, span)
    rate = kappa / span if shape.shifts else kappa
    tilt = b * scale * (rate * origin if shape.shifts else -kappa * np.log(span))
    late = float(shape.shifts)
    jacobian = np.zeros_like(r)  # of start, loss, rate, drift along level, slope, b, theta
    if free:
        jacobian[0, 0] = 1
    if shape.drifts:
        jacobian[-1, free] = -1 / span
        jacobian[:free, free] = -origin / span
    if curved:
        jacobian[free, m:] = scale, tilt
        jacobian[free + 1, m + 1] = rate
        jacobian[:free, m:] = late * (scale - 1), late * tilt
    root = np.einsum("ijs,jks->iks", jacobian, inverse)
    return Estimate(
        start=level + late * b * (scale - 1) + drift * origin, loss=b * scale, rate=rate,
        drift=drift, origin=origin, level=level, swing=b if shape.shifts else b * scale,
        rss=solution.rss,
        unit_covariance=np.einsum("ijs,kjs->sik", root, root),
    )  # fmt: skip
