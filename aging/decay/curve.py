"""Least-squares fit of a curve of your own to one series, for shapes the table does not hold.

A trust-region search from the given start; where it ends on a flat piece (a parameter without any
effect there, the trap of BoxBOD in the NIST sets), it begins again from starts ten times smaller
and larger. Gauss-Newton steps then take the parameters to the last digits.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from aging.decay.ragged import FloatArray, checked
from aging.errors import ModelError, require

Curve = Callable[[FloatArray, FloatArray], npt.ArrayLike]
STEP = np.finfo(float).eps ** 0.2  # relative, best for the five-point derivative
FLAT = 1e-10  # smallest over largest singular value, columns scaled to length 1
POLISH = 5


@dataclass(frozen=True)
class CurveFit:
    """Parameters (P,), their covariance (P, P), residual sum of squares and standard deviation."""

    parameters: FloatArray
    covariance: FloatArray
    rss: float
    sigma: float
    n: int

    @property
    def standard_errors(self) -> FloatArray:
        """Of the parameters (P,)."""
        return np.sqrt(np.diagonal(self.covariance))


def fit_curve(
    function: Curve, months: npt.ArrayLike, values: npt.ArrayLike, start: npt.ArrayLike
) -> CurveFit:
    """Fit function(months, parameters) from `start` (P,) to one series.

    Raises ModelError where no start leads to an optimum that determines every parameter.
    """
    t, y, _, _ = checked(months, values, [0, np.size(values)], None)
    first = np.atleast_1d(np.asarray(start, float))
    require(bool(np.isfinite(first).all()), "start", start, "finite numbers")
    require(y.size > first.size, "readings", y.size, f"more than the {first.size} parameters")

    def residual(x: FloatArray) -> FloatArray:
        return np.asarray(function(t, x), float) - y

    def jacobian(x: FloatArray) -> FloatArray:
        columns = []
        for i, step in enumerate(STEP * np.where(x == 0, 1.0, x)):
            h = np.where(np.arange(x.size) == i, step, 0.0)
            near, far = residual(x + h) - residual(x - h), residual(x + 2 * h) - residual(x - 2 * h)
            columns.append((8 * near - far) / (12 * step))
        return np.column_stack(columns)

    with np.errstate(all="ignore"):
        for scale in itertools.product((1.0, 0.1, 10.0), repeat=first.size):
            try:
                x = least_squares(
                    residual, first * scale, jacobian, x_scale="jac",
                    xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=2000,
                ).x  # fmt: skip
            except ValueError:  # the curve is not finite at this start
                continue
            q, r = np.linalg.qr(jacobian(x))
            if np.isfinite(r).all() and np.linalg.cond(r / np.linalg.norm(r, axis=0)) < 1 / FLAT:
                break
        else:
            raise ModelError(
                f"no optimum determines all {first.size} parameters of this curve from start "
                f"{first.tolist()}, nor ten times more or less; give a closer start or "
                "fewer parameters"
            )
        for _ in range(POLISH):
            better = x - np.linalg.solve(r, q.T @ residual(x))
            if (residual(better) ** 2).sum() > (1 + 1e-9) * (residual(x) ** 2).sum():
                break
            x = better
            q, r = np.linalg.qr(jacobian(x))
    rss = float((residual(x) ** 2).sum())
    variance = rss / (y.size - x.size)
    inverse = np.linalg.inv(r)
    return CurveFit(x, variance * inverse @ inverse.T, rss, float(np.sqrt(variance)), y.size)
