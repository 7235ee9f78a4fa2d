"""Time as a panel meets it: months of exposure turned into the unit that the priors count in.

The unit is the month, the day, or the radiant exposure of an average month. With that of each day
h and its mean m over a typical year, exposure for t days counts as

    (h_1 + ... + h_t) / (m DAYS_PER_MONTH)

so that priors per month stay valid, a sunny summer counts as more than its months, and a year as
about twelve. Days to come have the site's mean of their calendar month. Time never stands still:
a day counts as DARK of an average one at least, or visits of a polar night would fall together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from aging.vocabulary import DAYS_PER_MONTH

Array = npt.NDArray[np.floating[Any]]
MOST_MONTHS = 241.0  # a projection reaches twenty years
YEAR = 365
DARK = 0.01


@dataclass(frozen=True)
class Clock:
    """Straight lines between (months, units), both (K,) and ascending; the mean pace beyond."""

    months: Array
    units: Array

    def at(self, months: npt.ArrayLike) -> Array:
        """Time in the priors' unit at months of exposure, of any shape."""
        asked = np.asarray(months, dtype=np.float64)
        inside = np.clip(asked, self.months[0], self.months[-1])
        pace = np.ptp(self.units) / np.ptp(self.months)
        return np.interp(inside, self.months, self.units) + pace * (asked - inside)


def steady(units_per_month: float = 1.0) -> Clock:
    """A clock that runs evenly."""
    return Clock(np.array([0.0, 1.0]), np.array([0.0, units_per_month]))


def radiant_clock(start: pd.Timestamp, daily: pd.Series, typical: pd.Series) -> Clock:
    """A clock of radiant exposure from the day of `start`.

    daily : by date (MJ/m2), gaps allowed;  typical : its mean by calendar month (1..12)
    """
    day = start.normalize()
    days = pd.date_range(day, periods=int(MOST_MONTHS * DAYS_PER_MONTH), freq="D")
    usual = typical.reindex(days.month).to_numpy()
    known = daily.reindex(days).to_numpy()
    share = np.where(np.isnan(known), usual, known) / usual[:YEAR].mean()
    passed = np.cumsum(np.maximum(share, DARK))
    since = np.arange(days.size + 1) - (start - day) / pd.Timedelta(days=1)
    clock = Clock(since / DAYS_PER_MONTH, np.append(0.0, passed) / DAYS_PER_MONTH)
    return Clock(clock.months, clock.units - clock.at(0.0))
