"""A series of hundreds of readings, such as a roof's daily albedo, reduced to dated states.

On a regular grid of days, with gaps (statsmodels' state-space model, local level):

    y_t = mu_t + b' x_t + e_t     mu_t = mu_{t-1} + h_t     e ~ N(0, noise^2), h ~ N(0, step^2)

x are the weather's regressors of the day, 0 on an average day, so that the smoothed mu is the state
at average dryness and carries its own standard error. That error remembers about noise/step days.
States stand a month or THIN memories apart, whichever is longer: neighbours' errors then correlate
by less than exp(-THIN) = 0.05, and the projection may take them as independent.
A local level has no trend of its own; what the surface loses widens `step` and hence the errors.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np

from aging.decay.site import Array, Index
from aging.vocabulary import DAYS_PER_MONTH

MIN_READINGS, MOST_GAP_DAYS, THIN = 120, 3.0, 3.0


@dataclass(frozen=True)
class Level:
    """Smoothed level of a series by day, with standard error and memory in days."""

    first: int
    level: Array
    error: Array
    memory: float

    def at(self, day: Index) -> tuple[Array, Array]:
        """Level and standard error on days (M,), NaN before the first and after the last."""
        place = day - self.first
        inside = (place >= 0) & (place < self.level.size)
        place = np.where(inside, place, 0)
        return np.where(inside, self.level[place], np.nan), np.where(
            inside, self.error[place], np.nan
        )


@dataclass(frozen=True)
class States:
    """Dated states of P series on common days: day (M,), value (P, M), error (M,) of each day."""

    day: Index
    value: Array
    error: Array


def is_dense(day: Array) -> bool:
    """Whether days of reading (n,), ascending, are too many and too near to be visits."""
    return day.size > MIN_READINGS and float(np.median(np.diff(day))) <= MOST_GAP_DAYS


def smoothed(day: Array, value: Array, regressors: Array) -> Level:
    """Level of one series: readings on days (n,), regressors (D, r) of every day from day 0 on.

    Readings of one day are averaged. Days are counted from any origin at or after day 0.
    """
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    whole = np.floor(day).astype(np.int64)
    first = int(whole.min())
    count = np.bincount(whole - first)
    daily = np.bincount(whole - first, value) / np.where(count, count, np.nan)
    centre, scale = float(np.nanmean(daily)), max(float(np.nanstd(daily)), 1e-12)
    known = regressors[first : first + daily.size]
    known = known[:, np.ptp(known, axis=0) > 0]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a search that stops early still gives levels and errors
        model = UnobservedComponents(
            (daily - centre) / scale, level="llevel", exog=known if known.size else None
        )
        found = model.fit(disp=0)
    noise, step = np.sqrt(np.maximum(found.params[:2], 1e-12))
    level = centre + scale * found.level.smoothed
    error = scale * np.sqrt(np.maximum(found.level.smoothed_cov, 0.0))
    return Level(first, level, error, float(noise / step))


def dated_states(series: list[tuple[Array, Array]], regressors: Array) -> States:
    """States of series (days, values) of one site on common days, as far apart as memory asks."""
    levels = [smoothed(day, value, regressors) for day, value in series]
    first = min(one.first for one in levels)
    last = max(one.first + one.level.size - 1 for one in levels)
    apart = max(DAYS_PER_MONTH, THIN * max(one.memory for one in levels))
    day = np.rint(np.linspace(first, last, 1 + int((last - first) / apart))).astype(np.int64)
    value, error = (np.array(part) for part in zip(*(one.at(day) for one in levels), strict=True))
    seen = ~np.isnan(value).all(axis=0)
    error = np.sqrt(np.nanmean(error[:, seen] ** 2, axis=0))
    return States(day[seen], value[:, seen], error)
