"""May sites, or batches, be averaged? The tests that come before any mean.

Sites: with differences d_s of variance v_s at S sites, Q = sum((d_s - dbar)^2 / v_s) with weights
1 / v_s is chi-square on S - 1 degrees of freedom where sites differ by error alone.

Batches: lines y = a_b + b_b t of each batch, then one slope, then one line; the F of each step has
the mean square of the full model under it. A step is taken only where p is above 0.25, so that a
difference worth knowing is seldom averaged away (ICH Q1E); the shelf life is where the one-sided
bound of the mean crosses the limit, of the worst batch where lines stay apart.

Source: ICH Q1E (2003); LeBlond, Griffith, Aubuchon, J. Valid. Technol. 17(3) (2011) 47-68.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aging.decay.site import Array
from aging.errors import require

ALPHA = 0.25
ONE_LINE, ONE_SLOPE, OWN_LINES = "one line", "one slope", "own lines"


def heterogeneity(middle: Array, variance: Array) -> tuple[Array, Array]:
    """Q and its p of means (S, ...) with their variances at S independent sites."""
    from scipy.stats import chi2

    weight = 1 / variance
    centre = (weight * middle).sum(axis=0) / weight.sum(axis=0)
    q = (weight * (middle - centre) ** 2).sum(axis=0)
    return q, chi2.sf(q, len(middle) - 1)


@dataclass(frozen=True)
class Batches:
    """Which lines the batches share, with the tests behind it; `slope` and `intercept` by batch."""

    model: str
    f_slopes: float
    p_slopes: float
    f_intercepts: float
    p_intercepts: float
    names: tuple[str, ...]
    intercept: Array
    slope: Array
    coefficients: Array
    cov: Array
    degrees: int

    def bound(self, time: float, level: float = 0.95) -> Array:
        """One-sided lower bound of the mean of each batch at a time, (B,)."""
        from scipy.stats import t

        rows = _rows(self.model, np.full(len(self.names), time), np.arange(len(self.names)))
        spread = np.sqrt(np.einsum("ij,jk,ik->i", rows, self.cov, rows))
        return rows @ self.coefficients - t.ppf(level, self.degrees) * spread

    def crossing(self, limit: float, level: float = 0.95, longest: float = 240.0) -> float:
        """First time at which the worst batch's lower bound falls to `limit`; nan where never."""
        from scipy.optimize import brentq

        def margin(time: float) -> float:
            return float(self.bound(time, level).min() - limit)

        if margin(0.0) <= 0:
            return 0.0
        ends = np.linspace(0.0, longest, 481)
        below = [end for end in ends if margin(end) <= 0]
        if not below:
            return float("nan")
        return float(brentq(margin, below[0] - ends[1], below[0]))


def batches(time: ArrayLike, value: ArrayLike, batch: ArrayLike, alpha: float = ALPHA) -> Batches:
    """Test whether batches share slope and intercept, and keep the smallest model that may stand.

    time, value, batch: (N,), with two times or more in each of two batches or more.
    """
    from scipy.stats import f

    at, y = np.asarray(time, np.float64), np.asarray(value, np.float64)
    names, code = np.unique(np.asarray(batch).astype(str), return_inverse=True)
    require(len(names) > 1, "batches", len(names), "2 or more")
    for number, name in enumerate(names):
        seen = np.unique(at[code == number]).size
        require(seen > 1, f"times of batch {name}", seen, "2 or more")
    fits = {model: _least_squares(_rows(model, at, code, len(names)), y)
            for model in (OWN_LINES, ONE_SLOPE, ONE_LINE)}  # fmt: skip
    full, more = fits[OWN_LINES], len(names) - 1
    degrees = len(y) - 2 * len(names)
    require(degrees > 0, "readings", len(y), f"more than {2 * len(names)}")
    error = full[2] / degrees
    f_slopes = (fits[ONE_SLOPE][2] - full[2]) / more / error
    f_intercepts = (fits[ONE_LINE][2] - fits[ONE_SLOPE][2]) / more / error
    p_slopes, p_intercepts = (float(f.sf(one, more, degrees)) for one in (f_slopes, f_intercepts))
    model = OWN_LINES if p_slopes <= alpha else ONE_SLOPE if p_intercepts <= alpha else ONE_LINE
    coefficients, inverse, rss = fits[model]
    left = len(y) - len(coefficients)
    every = np.arange(len(names))
    start = _rows(model, np.zeros(len(names)), every) @ coefficients
    slope = _rows(model, np.ones(len(names)), every) @ coefficients - start
    return Batches(
        model, float(f_slopes), p_slopes, float(f_intercepts), p_intercepts, tuple(names),
        start, slope, coefficients, inverse * rss / left, left,
    )  # fmt: skip


def _rows(model: str, at: Array, code: NDArray[np.integer[Any]], count: int | None = None) -> Array:
    """Rows of the design: intercepts, then slopes, shared or one a batch."""
    each = np.eye(count or len(code))[code]
    one = np.ones((len(code), 1))
    intercept = one if model == ONE_LINE else each
    slope = (each if model == OWN_LINES else one) * at[:, None]
    return np.hstack([intercept, slope])


def _least_squares(rows: Array, y: Array) -> tuple[Array, Array, float]:
    inverse = np.linalg.inv(rows.T @ rows)
    found = inverse @ (rows.T @ y)
    return found, inverse, float(((y - rows @ found) ** 2).sum())
