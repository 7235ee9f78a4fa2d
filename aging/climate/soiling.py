"""Soiling state of a site from its weather: how much has settled since rain last cleaned.

Three ways, each between 0 (just cleaned) and 1 (as soiled as it gets):

    dry days   1 - exp(-D / DRYING_DAYS),  D = dry days since rain of CLEANING_RAIN_MM or more a day
    kimber     S / most,  S rises by a rate a day, is 0 while the ground is damp after rain
    hsu        erf(0.17 w^0.8473),  w = particulate matter settled since rain (g/m2)

Constants of "dry days" are assumed. The other two were made for photovoltaic modules, and their
losses are of transmitted light: only the state is used here, as a covariate, and its effect on a
roof is estimated from the readings.

Kimber et al. 2006, doi 10.1109/WCPEC.2006.279690. HSU: Coello & Boyle 2019,
doi 10.1109/JPHOTOV.2019.2919628; made for w up to 10 g/m2.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from aging.errors import require

Method = Literal["dry days", "kimber", "hsu"]
METHODS: tuple[Method, ...] = ("dry days", "kimber", "hsu")

CLEANING_RAIN_MM = 5.0
DRYING_DAYS = 15.0
KIMBER_MOST = 0.3  # Kimber et al.: largest loss of transmitted light
HSU_MOST = 0.3437
ROUNDING_MM = 1e-6  # sums of tenths of a millimetre that miss the threshold by less have met it
FINE_SHARE = 0.5  # of PM10 is PM2.5 where only PM10 is measured; assumed
MOST_DAYS = 0.8  # share of days on which PM10 must be known; assumed
DAY_S = 86_400.0


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


def kimber(
    rain_mm: pd.Series,
    *,
    cleaning_mm: float = 6.0,
    rate_per_day: float = 0.0015,
    grace_days: float = 14.0,
    most: float = KIMBER_MOST,
    washed: Iterable[pd.Timestamp] = (),
) -> pd.Series:
    """Soiling S (0 to `most`) from rain by day or by hour (mm, rising DatetimeIndex).

    Rain of `cleaning_mm` or more within 24 h cleans and keeps the ground damp for `grace_days`;
    a wash cleans and does not. Missing rain counts as none. Defaults are Kimber's.
    """
    seconds = _elapsed_seconds(rain_mm)
    rained = np.where(_cleaned(rain_mm, cleaning_mm), seconds, -np.inf)
    clean = seconds - np.maximum.accumulate(rained) < grace_days * DAY_S
    for moment in washed:
        clean |= np.arange(seconds.size) == rain_mm.index.searchsorted(moment, side="right") - 1
    return pd.Series(np.minimum(_since(clean, rate_per_day * seconds / DAY_S), most), rain_mm.index)


def hsu(
    rain_mm: pd.Series,
    pm2_5_ug_m3: npt.ArrayLike,
    pm10_ug_m3: npt.ArrayLike,
    *,
    tilt_deg: float = 0.0,
    cleaning_mm: float = CLEANING_RAIN_MM,
    fine_m_s: float = 0.0009,
    coarse_m_s: float = 0.004,
) -> pd.Series:
    """Soiling (0 to 0.3437) from rain and dust by day or by hour (mm, rising DatetimeIndex).

    Matter settles at its two velocities (defaults: in still air) until rain of `cleaning_mm` or
    more within 24 h. PM10 (mean of the interval) holds PM2.5. Missing rain counts as none.
    """
    fine, total = np.asarray(pm2_5_ug_m3, float), np.asarray(pm10_ug_m3, float)
    rate = np.minimum(fine, total) * fine_m_s + np.maximum(total - fine, 0) * coarse_m_s
    seconds = _elapsed_seconds(rain_mm)
    first = seconds[1] if seconds.size > 1 else DAY_S  # as long as the second interval
    lasted = np.diff(seconds, prepend=-first)
    settled = np.cumsum(1e-6 * rate * np.cos(np.radians(tilt_deg)) * lasted)
    mass = _since(_cleaned(rain_mm, cleaning_mm), settled)
    from scipy.special import erf  # 0.2 s of import that only this state needs

    return pd.Series(HSU_MOST * erf(0.17 * mass**0.8473), rain_mm.index)


def soiling_state(
    weather: pd.DataFrame, method: Method | None = None, *, tilt_deg: float = 0.0
) -> pd.Series:
    """Soiling state 0 to 1 by date from the weather of one site; its name is the method used.

    Without a method: "hsu" where PM10 is known on most days of the rain record, else "dry days".
    Empty where no rain is known. Days without PM10 take what lies between their neighbours.
    """
    require(method in {None, *METHODS}, "method", method, METHODS)
    rain = _daily(weather, "rain_mm")
    dust = _daily(weather, "pm10_ug_m3").reindex(rain.index)
    chosen = method or ("hsu" if dust.notna().mean() > MOST_DAYS else "dry days")
    if rain.empty or chosen == "dry days":
        state = dryness(weather)
    elif chosen == "kimber":
        state = kimber(rain) / KIMBER_MOST
    else:
        require(bool(dust.notna().any()), "pm10_ug_m3", "none known", "values for the method hsu")
        dust = dust.interpolate(limit_direction="both")
        state = hsu(rain, FINE_SHARE * dust, dust, tilt_deg=tilt_deg) / HSU_MOST
    return state.rename(chosen)


def _daily(weather: pd.DataFrame, column: str) -> pd.Series:
    """Every day from the first to the last on which the column is known."""
    known = weather.reindex(columns=["date", column]).dropna()
    values = known.set_index(pd.to_datetime(known["date"]))[column].sort_index()
    return values if values.empty else values.asfreq("D")


def _elapsed_seconds(rain_mm: pd.Series) -> npt.NDArray[np.float64]:
    index = rain_mm.index
    rising = isinstance(index, pd.DatetimeIndex) and index.is_monotonic_increasing
    require(rising and index.size > 0, "index of rain_mm", index, "a rising DatetimeIndex")
    return np.asarray((index - index[0]).total_seconds(), float)


def _cleaned(rain_mm: pd.Series, cleaning_mm: float) -> npt.NDArray[np.bool_]:
    within_a_day = rain_mm.fillna(0).rolling("24h", closed="right").sum()
    return within_a_day.to_numpy() >= cleaning_mm - ROUNDING_MM


def _since(clean: npt.NDArray[np.bool_], total: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """What a running total has gained since it was last cleaned."""
    return total - np.maximum.accumulate(np.where(clean, total, 0))
