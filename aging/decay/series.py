"""Least-squares fit of one decay shape to each of thousands of ragged series at once.

Everything but the rate is linear, so each series is a search over log rate alone, from bound to
bound (variable projection): no starting value, and no local optimum to fall into. Notation:
shapes.py and problem.py. Standard errors are those of nonlinear least squares,
sigma^2 (J'J)^-1 with sigma^2 = rss/(n - p).
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from aging.decay import series_numpy
from aging.decay.estimate import estimate
from aging.decay.outcome import Outcome
from aging.decay.problem import Solution
from aging.decay.ragged import FloatArray, IntArray, Ragged, checked
from aging.decay.shapes import SHAPES, Shape, shape_named
from aging.errors import require

Engine = Literal["auto", "numpy", "numba"]
BLOCKS = 1024, 8192  # series worked on at once: enough to pay for a call, few enough for the cache
AT_BOUND = 1e-8  # of log rate
PATH = ("start", "loss", "rate", "drift", "origin", "level", "swing")
NUMBA_PAYS = 10_000  # series; below it numpy is done before numba is loaded


@dataclass(frozen=True)
class SeriesFit:
    """One path per series. Arrays are (S,) unless said otherwise.

    start, loss, rate, drift: as in `shape.equation`; months since exposure. start and loss are
    extrapolated where readings begin after month 0. rss, sigma: weighted sum of squares, residual
    standard deviation. covariance (S, P, P): of `parameters`, in that order; NaN unless the outcome
    is FITTED. Every number is NaN where the outcome is not `usable`. At the lower bound of an
    exponential the path is the straight line it tends to (loss 0, rate 0, drift the slope).
    level, swing: start and loss counted from month `origin`, the first reading where readings
    begin late; `predict` uses them, since loss at month 0 can be astronomically large.
    """

    shape: Shape
    parameters: tuple[str, ...]
    start: FloatArray
    loss: FloatArray
    rate: FloatArray
    drift: FloatArray
    origin: FloatArray
    level: FloatArray
    swing: FloatArray
    rss: FloatArray
    sigma: FloatArray
    n: IntArray
    outcome: npt.NDArray[np.int8]
    covariance: FloatArray

    def __len__(self) -> int:
        return len(self.n)

    @property
    def outcomes(self) -> tuple[Outcome, ...]:
        """The outcome of each series by name."""
        return tuple(Outcome(code) for code in self.outcome)

    @property
    def standard_errors(self) -> FloatArray:
        """Of `parameters` (S, P)."""
        return np.sqrt(np.diagonal(self.covariance, axis1=1, axis2=2))

    def predict(self, months: npt.ArrayLike) -> FloatArray:
        """Fitted path at months (M,), or (S, M) for months of each series' own; gives (S, M).

        CallError for months before exposure where the shape has none.
        """
        wanted = np.atleast_1d(np.asarray(months, float))
        require(self.shape.shifts or not (wanted < 0).any(), "months", months, "0 and later")
        parts = (self.level, self.swing, self.rate, self.drift)
        with np.errstate(over="ignore"):  # a fast curve run backwards from a late first reading
            return self.shape.path(wanted - self.origin[:, None], *(x[:, None] for x in parts))


def fit_series(
    months: npt.ArrayLike,
    values: npt.ArrayLike,
    offsets: npt.ArrayLike,
    shape: str = "exponential",
    *,
    weights: npt.ArrayLike | None = None,
    start: float | None = None,
    engine: Engine = "auto",
) -> SeriesFit:
    """Fit `shape` to every series by least squares, each to its global minimum within bounds.

    months, values (N,): all series one after the other; series s is offsets[s]:offsets[s + 1] of
    offsets (S + 1,). weights (N,): inverse variances up to a factor. start: a known value at month
    0, then not estimated. Raises CallError, naming the series, for NaN and for months before
    exposure where the shape cannot have them.
    """
    kind = shape_named(shape)
    require(engine in ("auto", "numpy", "numba"), "engine", engine, ("auto", "numpy", "numba"))
    require(start is None or bool(np.isfinite(start)), "start", start, "a finite number or None")
    t, y, w, rows = checked(months, values, offsets, weights)
    if start is not None or not kind.shifts:
        require(t.min(initial=0.0) >= 0, "months", t.min(initial=0.0),
                f"at least 0, months since exposure, for {kind.label.lower()}")  # fmt: skip
    if engine == "auto":
        engine = "numba" if len(rows) >= NUMBA_PAYS else "numpy"
    job = _Job(kind, kind.parameters[start is not None :], start, engine)

    workers = os.cpu_count() or 1
    size = int(np.clip(-(-len(rows) // (2 * workers)), *BLOCKS))

    def block(first: int) -> dict[str, npt.NDArray[Any]]:
        bounds = rows.offsets[first : first + size + 1]
        here = slice(bounds[0], bounds[-1])
        return job.run(t[here], y[here], None if w is None else w[here], Ragged(bounds - bounds[0]))

    firsts = range(0, max(len(rows), 1), size)
    with ThreadPoolExecutor(min(len(firsts), workers)) as pool:
        found = list(pool.map(block, firsts))
    columns = {name: np.concatenate([part[name] for part in found]) for name in found[0]}
    return SeriesFit(shape=kind, parameters=job.parameters, n=rows.counts, **columns)


@dataclass(frozen=True)
class _Job:
    """What is the same for every block of series."""

    shape: Shape
    parameters: tuple[str, ...]
    start: float | None
    engine: Engine

    def run(
        self, t: FloatArray, y: FloatArray, w: FloatArray | None, rows: Ragged
    ) -> dict[str, npt.NDArray[Any]]:
        """Columns of SeriesFit for all series: those that can be fitted are."""
        outcome = self.outcomes_before_fitting(t, y, rows)
        todo = np.flatnonzero(outcome == Outcome.FITTED)
        if 0 < todo.size == len(rows):
            return self.fit(t, y, w, rows)
        size = len(self.parameters)
        columns: dict[str, npt.NDArray[Any]] = {"outcome": outcome}
        columns["covariance"] = np.full((len(rows), size, size), np.nan)
        flat = np.flatnonzero(outcome == Outcome.NO_CHANGE)
        for name in (*PATH, "rss", "sigma"):
            columns[name] = np.full(len(rows), np.nan)
            columns[name][flat] = y[rows.offsets[flat]] if name in {"start", "level"} else 0.0
        if todo.size:
            part, at = rows.take(todo)
            fitted = self.fit(t[at], y[at], None if w is None else w[at], part)
            for name, column in fitted.items():
                columns[name][todo] = column
        return columns

    def outcomes_before_fitting(
        self, t: FloatArray, y: FloatArray, rows: Ragged
    ) -> npt.NDArray[np.int8]:
        """Codes (S,): FITTED where a fit can be tried."""
        first = rows.offsets[:-1][rows.counts > 0]
        distinct = np.ones(t.size, bool)
        np.not_equal(t[1:], t[:-1], out=distinct[1:])
        distinct[first] = True
        if self.start is None:
            base = np.repeat(y[first], rows.counts[rows.counts > 0])
        else:
            base = np.full(t.size, self.start)
            distinct &= t > 0
        months, moves = (
            np.diff(np.concatenate(([0], np.cumsum(flag, dtype=np.int32)))[rows.offsets])
            for flag in (distinct, y != base)
        )
        code = np.full(len(rows), Outcome.FITTED, np.int8)
        code[moves == 0] = Outcome.NO_CHANGE
        code[months < len(self.parameters)] = Outcome.NO_TIME_SPREAD
        code[rows.counts <= len(self.parameters)] = Outcome.TOO_FEW_READINGS
        return code

    def fit(
        self, t: FloatArray, y: FloatArray, w: FloatArray | None, rows: Ragged
    ) -> dict[str, npt.NDArray[Any]]:
        """Columns of SeriesFit for series that can be fitted."""
        outcome = np.full(len(rows), Outcome.FITTED, np.int8)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            solution = solver(self.engine)(
                t, y - (self.start or 0.0), w, rows, self.shape, free_start=self.start is None
            )
            if self.shape.clock is not None:
                at_top = solution.theta >= solution.highest - AT_BOUND
                at_bottom = solution.theta <= np.log(self.shape.low) + AT_BOUND
                outcome[at_top] = Outcome.RATE_AT_UPPER_BOUND
                outcome[at_bottom] = Outcome.RATE_AT_LOWER_BOUND
            found = estimate(solution, self.shape, self.start)
            columns: dict[str, npt.NDArray[Any]] = {
                name: getattr(found, name) for name in (*PATH, "rss")
            }
            straight = np.flatnonzero(outcome == Outcome.RATE_AT_LOWER_BOUND)
            if self.shape.name == "exponential" and straight.size:
                part, at = rows.take(straight)
                line = _Job(SHAPES["line"], ("start", "drift"), self.start, self.engine)
                limit = line.fit(t[at], y[at], None if w is None else w[at], part)
                for name in (*PATH, "rss"):
                    columns[name][straight] = limit[name]
            sigma = np.sqrt(columns["rss"] / (rows.counts - len(self.parameters)))
            covariance = sigma[:, None, None] ** 2 * found.unit_covariance
        covariance[outcome != Outcome.FITTED] = np.nan
        return {**columns, "sigma": sigma, "covariance": covariance, "outcome": outcome}


def solver(engine: Engine) -> Callable[..., Solution]:
    """The engine of that name; numba is loaded here and nowhere else."""
    if engine == "numba":
        from aging.decay import series_numba

        return series_numba.solve
    return series_numpy.solve
