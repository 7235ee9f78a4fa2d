"""Profile-likelihood intervals of a decay path: the rate is scanned, the rest is exact.

For one theta = log kappa a target g(path) is a'c of the linear coefficients c, and the best sum of
squares with g held at gamma is rss(theta) + (gamma - g(theta))^2 / v(theta), v = a'(X'X)^-1 a. So

    interval = union over theta of g(theta) +- sqrt(v(theta) (limit - rss(theta)))
    limit = rss_min (1 + F(level; 1, n - p)/(n - p))

(Bates & Watts 1988, doi 10.1002/9780470316757, chapter 6: profile t). An end that keeps moving
where the rate has reached its bound has no limit: it is reported as infinite and as open.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from aging.decay.outcome import IntervalOutcome, Outcome
from aging.decay.problem import set_up
from aging.decay.ragged import FloatArray, checked
from aging.decay.scan import Scan
from aging.decay.series import Engine, SeriesFit, fit_series
from aging.decay.shapes import shape_named
from aging.errors import require


@dataclass(frozen=True)
class Intervals:
    """Interval of `target` for each series, arrays (S,). `outcome` holds IntervalOutcome codes.

    estimate is the fitted value, infinite for the loss of an exponential that became a straight
    line; lower, upper are NaN exactly where the outcome is NO_INTERVAL.
    """

    target: str
    level: float
    estimate: FloatArray
    lower: FloatArray
    upper: FloatArray
    outcome: npt.NDArray[np.int8]
    fit: SeriesFit


def profile_interval(
    months: npt.ArrayLike,
    values: npt.ArrayLike,
    offsets: npt.ArrayLike,
    target: str = "value",
    *,
    at: float | None = None,
    level: float = 0.90,
    shape: str = "exponential",
    weights: npt.ArrayLike | None = None,
    start: float | None = None,
    engine: Engine = "auto",
) -> Intervals:
    """Two-sided interval of a parameter, or of the path's "value" `at` a month.

    Independent readings of equal variance (or variance 1/weight) are taken for granted: panels
    that share visits need the mixed model instead. Arguments as for fit_series, and its errors.
    """
    kind = shape_named(shape)
    allowed = ("value", *kind.parameters[start is not None :])
    require(target in allowed, "target", target, allowed)
    require(0 < level < 1, "level", level, "a number between 0 and 1")
    month = 0.0 if target == "start" else at
    if target in {"value", "start"}:
        require(month is not None and bool(np.isfinite(month)) and (kind.shifts or month >= 0),
                "at", at, "the month of the wanted value")  # fmt: skip
    fit = fit_series(months, values, offsets, shape, weights=weights, start=start, engine=engine)
    estimate = fit.predict(month or 0.0)[:, 0] if target == "value" else getattr(fit, target)
    if target == "loss" and shape == "exponential":
        straight = fit.outcome == Outcome.RATE_AT_LOWER_BOUND
        estimate = np.where(straight, np.copysign(np.inf, fit.drift), estimate)
    lower, upper = np.full(len(fit), np.nan), np.full(len(fit), np.nan)
    outcome = np.full(len(fit), IntervalOutcome.NO_INTERVAL, np.int8)
    series = np.flatnonzero(fit.outcome < Outcome.NO_CHANGE)
    if series.size:
        t, y, w, rows = checked(months, values, offsets, weights)
        rows, here = rows.take(series)
        problem = set_up(t[here], y[here] - (start or 0.0), None if w is None else w[here], rows,
                         kind, free_start=start is None)  # fmt: skip
        df = fit.n[series] - len(fit.parameters)
        limit = fit.rss[series] * (1 + stdtrit(df, 0.5 + 0.5 * level) ** 2 / df)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            scan = Scan(problem, limit, target, month or 0.0)
            lower[series], upper[series], outcome[series] = scan.ends(fit.rate[series])
        if target in {"value", "start"}:
            lower[series] += start or 0.0
            upper[series] += start or 0.0
    return Intervals(target, level, estimate, lower, upper, outcome, fit)
