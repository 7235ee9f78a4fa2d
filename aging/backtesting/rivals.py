"""Simple forecasts that the model has to beat, each from the means of one formulation at one site.

t months, y means of the visits known, h months from the last of them, s a standard deviation,
q the quantile of Student's t:

    last value          y_n +- q s sqrt(h), s^2 the mean of (change)^2/months between visits
    straight line       least squares +- q s sqrt(1 + 1/n + (t - mean t)^2/Sxx)
    exponential         y0 - L (1 - exp(-k t)), its profile interval widened by q s of a reading
    same loss as control    the first mean, less what the control's exponential loses; no interval
    damped trend, local level    statsmodels on a monthly grid, see grid.py

A forecast that cannot be made says why.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.special import stdtrit

from aging.backtesting import grid
from aging.backtesting.forecast import Forecast, missing
from aging.decay.outcome import Outcome
from aging.decay.profile import profile_interval
from aging.decay.site import Array

Single = Callable[[Array, Array, Array, float], Forecast]
Rival = Callable[["Past", Array, float], list[Forecast]]
NO_CONTROL, IS_CONTROL = "no control read in this campaign", "is the control"


@dataclass(frozen=True)
class Past:
    """Means known of one campaign: months (V,), values (G, V); `control` the group, if any."""

    months: Array
    values: Array
    control: int | None = None

    def series(self, group: int) -> tuple[Array, Array]:
        """Months and means of one group where it was read."""
        read = ~np.isnan(self.values[group])
        return self.months[read], self.values[group, read]


def last_value(t: Array, y: Array, ahead: Array, level: float) -> Forecast:
    """The last value carried forward; a random walk's interval."""
    estimate = np.full(ahead.size, y[-1])
    if t.size == 1:
        return Forecast(estimate, *np.full((2, ahead.size), np.nan))
    spread = np.sqrt(np.mean(np.diff(y) ** 2 / np.diff(t)))
    half = stdtrit(t.size - 1, 0.5 + level / 2) * spread * np.sqrt(ahead - t[-1])
    return Forecast(estimate, estimate - half, estimate + half)


def straight_line(t: Array, y: Array, ahead: Array, level: float) -> Forecast:
    """Least-squares line with its prediction interval."""
    if t.size < 3:  # noqa: PLR2004 - two parameters and one to spare
        return missing(ahead, "fewer than 3 visits")
    middle, span = t.mean(), ((t - t.mean()) ** 2).sum()
    slope = (t - middle) @ y / span
    rss = ((y - y.mean() - slope * (t - middle)) ** 2).sum()
    estimate = y.mean() + slope * (ahead - middle)
    variance = rss / (t.size - 2) * (1 + 1 / t.size + (ahead - middle) ** 2 / span)
    half = stdtrit(t.size - 2, 0.5 + level / 2) * np.sqrt(variance)
    return Forecast(estimate, estimate - half, estimate + half)


def exponential(past: Past, ahead: Array, level: float) -> list[Forecast]:
    """Exponential of each group by itself, all in one batch.

    An exponential may be shifted in time, so that each later visit becomes month 0 of a copy.
    """
    known = [past.series(group) for group in range(len(past.values))]
    months = np.concatenate([t - month for t, _ in known for month in ahead])
    values = np.concatenate([np.tile(y, ahead.size) for _, y in known])
    counts = np.repeat([t.size for t, _ in known], ahead.size)
    found = profile_interval(months, values, np.append(0, np.cumsum(counts)), at=0.0, level=level)
    df = np.maximum(counts - len(found.fit.parameters), 1)
    reading = stdtrit(df, 0.5 + level / 2) * found.fit.sigma
    lower = found.estimate - np.hypot(found.estimate - found.lower, reading)
    upper = found.estimate + np.hypot(found.upper - found.estimate, reading)
    shape = (len(known), ahead.size)
    rows = zip(*(x.reshape(shape) for x in (found.estimate, lower, upper)), strict=True)
    ends = map(Outcome, found.fit.outcome[:: ahead.size])
    return [
        Forecast(*row) if end.usable else missing(ahead, end.label)
        for row, end in zip(rows, ends, strict=True)
    ]


def same_loss_as_control(past: Past, ahead: Array, level: float) -> list[Forecast]:
    """As if the formulation lost what the control loses."""
    groups = range(len(past.values))
    if past.control is None:
        return [missing(ahead, NO_CONTROL) for _ in groups]
    t, y = past.series(past.control)
    [control] = exponential(Past(t, y[None]), ahead, level)
    loss = y[0] - control.estimate
    none = np.full_like(loss, np.nan)
    return [
        missing(ahead, control.why or IS_CONTROL)
        if control.why or group == past.control
        else Forecast(past.series(group)[1][0] - loss, none, none)
        for group in groups
    ]


def _one_by_one(forecast: Single, past: Past, ahead: Array, level: float) -> list[Forecast]:
    return [forecast(*past.series(g), ahead, level) for g in range(len(past.values))]


RIVALS: dict[str, Rival] = {
    "last value": partial(_one_by_one, last_value),
    "straight line": partial(_one_by_one, straight_line),
    "exponential": exponential,
    "same loss as control": same_loss_as_control,
    "damped trend": partial(_one_by_one, grid.damped_trend),
    "local level": partial(_one_by_one, grid.local_level),
}
