"""Soiling state of a site from its daily rain: how long since rain last cleaned the panels.

    x = 1 - exp(-D / DRYING_DAYS),  D = dry days since rain of at least CLEANING_RAIN_MM a day

Both constants are assumed; only the state is used, its effect on a reading is estimated.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

CLEANING_RAIN_MM = 5.0
DRYING_DAYS = 15.0


def dry_days(rain_mm: pd.Series) -> pd.Series:
    """Days since the last cleaning rain on each day of a daily series (0 on the day itself).

    Days before the first cleaning rain count from the start; a missing amount counts as dry.
    """
    day = np.arange(len(rain_mm))
    cleaned = np.where(rain_mm.to_numpy() >= CLEANING_RAIN_MM, day, 0)
    return pd.Series(day - np.maximum.accumulate(cleaned), index=rain_mm.index)


def dryness(weather: pd.DataFrame) -> pd.Series:
    """Soiling state 0 (rain today) to 1 (long drought) by date, from columns date and rain_mm."""
    known = weather.dropna(subset=["rain_mm"])
    rain = known.set_index(pd.to_datetime(known["date"]))["rain_mm"].sort_index()
    if rain.empty:
        return rain
    days = dry_days(rain.asfreq("D"))
    return pd.Series(-np.expm1(-days.to_numpy() / DRYING_DAYS), index=days.index)
