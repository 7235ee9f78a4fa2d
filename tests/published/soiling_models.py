"""Two published models of soiling, as a reference that the program's own state is held to.

    kimber     S rises by a rate a day, up to `most`, and is 0 while the ground is damp after rain
    hsu        0.3437 erf(0.17 w^0.8473),  w = particulate matter settled since rain (g/m2)

Both were made for photovoltaic modules. Kimber et al. 2006, doi 10.1109/WCPEC.2006.279690. HSU:
Coello & Boyle 2019, doi 10.1109/JPHOTOV.2019.2919628; made for w up to 10 g/m2.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import erf

KIMBER_MOST = 0.3  # Kimber et al.: largest loss of transmitted light
HSU_MOST = 0.3437
CLEANING_RAIN_MM = 5.0
ROUNDING_MM = 1e-6  # sums of tenths of a millimetre that miss the threshold by less have met it
DAY_S = 86_400.0


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

    return pd.Series(HSU_MOST * erf(0.17 * mass**0.8473), rain_mm.index)


def _elapsed_seconds(rain_mm: pd.Series) -> npt.NDArray[np.float64]:
    index = rain_mm.index
    return np.asarray((index - index[0]).total_seconds(), float)


def _cleaned(rain_mm: pd.Series, cleaning_mm: float) -> npt.NDArray[np.bool_]:
    within_a_day = rain_mm.fillna(0).rolling("24h", closed="right").sum()
    return within_a_day.to_numpy() >= cleaning_mm - ROUNDING_MM


def _since(clean: npt.NDArray[np.bool_], total: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """What a running total has gained since it was last cleaned."""
    return total - np.maximum.accumulate(np.where(clean, total, 0))
