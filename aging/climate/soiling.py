"""Soiling state of a site from its weather: how long ago rain last cleaned.

    1 - exp(-D / DRYING_DAYS),  D = dry days since rain of CLEANING_RAIN_MM or more a day

0 is just cleaned, 1 as soiled as it gets. The constants are assumed: the state is a covariate, and
its effect on a roof is estimated from the readings. A test holds it to two published models.
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
    rain = _daily(weather, "rain_mm")
    return pd.Series(-np.expm1(-dry_days(rain).to_numpy() / DRYING_DAYS), index=rain.index)


def _daily(weather: pd.DataFrame, column: str) -> pd.Series:
    """Every day from the first to the last on which the column is known."""
    known = weather.reindex(columns=["date", column]).dropna()
    values = known.set_index(pd.to_datetime(known["date"]))[column].sort_index()
    return values if values.empty else values.asfreq("D")
