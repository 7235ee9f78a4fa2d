"""Radiant exposure in the plane of a rack, by day, from what is measured on the horizontal.

A day's measured sum (MJ/m2, global horizontal) is spread over its hours like the clear sky's, split
into beam and diffuse by the correlation of Erbs and brought into the plane by the sky of Hay and
Davies over a ground of albedo ALBEDO. Ultraviolet takes the total's ratio of plane to horizontal.
Where nothing is measured the clear sky stands in: too much in all, but as a clock
(climate/clock.py) it counts only how its months compare. Days are solar days, from the longitude.

Erbs, Klein & Duffie 1982, Solar Energy 28:293. Hay & Davies 1980, Proc. First Canadian Solar
Radiation Data Workshop, 59. Clear sky: Ineichen & Perez 2002, Solar Energy 73:151, with pvlib's
table of monthly turbidity. All as in pvlib.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

Band = Literal["solar", "uv"]
COLUMNS: dict[Band, str] = {"solar": "solar_MJ_m2", "uv": "uv_MJ_m2"}
ALBEDO = 0.2  # of grass or gravel before the rack: common practice, no source
MIN_DAYS = 15  # measured days that tell the mean of a calendar month
MJ_PER_WH = 0.0036
NIGHT_MJ = 1e-6
HOURS = np.arange(24) + 0.5
Hourly = npt.NDArray[np.float64]  # days x hours


@dataclass(frozen=True)
class Plane:
    """A rack: degrees north, degrees east, metres, degrees from horizontal, degrees from north."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float = 0.0
    tilt_deg: float = 0.0
    azimuth_deg: float = 180.0


@dataclass(frozen=True)
class RadiantExposure:
    """By date, its mean by calendar month (1..12), both in MJ/m2 a day, and where it comes from."""

    daily: pd.Series
    typical: pd.Series
    source: str


@dataclass(frozen=True)
class Sky:
    """Sun and clear sky over a plane at the hours of some days, all (days, 24)."""

    plane: Plane
    day_of_year: Hourly
    zenith: Hourly
    azimuth: Hourly
    clear: Hourly  # W/m2 on the horizontal

    @classmethod
    def over(cls, plane: Plane, days: pd.DatetimeIndex) -> Sky:
        """Sun and clear sky of each day."""
        from pvlib import atmosphere, clearsky, irradiance, solarposition

        midnight = pd.Timedelta(hours=-plane.longitude_deg / 15)
        hours = (days + midnight).repeat(24) + pd.to_timedelta(np.tile(HOURS, days.size), unit="h")
        hours = hours.tz_localize("UTC")
        at = (plane.latitude_deg, plane.longitude_deg)
        sun = solarposition.get_solarposition(hours, *at, plane.elevation_m)
        pressure = atmosphere.alt2pres(plane.elevation_m)
        mass = atmosphere.get_relative_airmass(sun["apparent_zenith"])
        clear = clearsky.ineichen(
            sun["apparent_zenith"],
            atmosphere.get_absolute_airmass(mass, pressure),
            clearsky.lookup_linke_turbidity(hours, *at, interp_turbidity=False),
            plane.elevation_m,
            irradiance.get_extra_radiation(hours.day_of_year),
        )["ghi"]
        columns = (hours.day_of_year, sun["zenith"], sun["azimuth"], clear)
        return cls(plane, *(np.asarray(x, dtype=np.float64).reshape(-1, 24) for x in columns))

    def horizontal(self) -> Hourly:
        """Clear-sky sum of each day on the horizontal, MJ/m2, (days,)."""
        return self.clear.sum(axis=1) * MJ_PER_WH

    def in_plane(self, horizontal: Hourly) -> Hourly:
        """Daily sums (days,) on the horizontal as they fall on the plane; 0 in a polar night."""
        from pvlib import irradiance

        whole = self.horizontal()
        share = np.divide(horizontal, whole, out=np.zeros_like(whole), where=whole > 0)
        ghi = self.clear * share[:, None]
        split = irradiance.erbs(ghi, self.zenith, self.day_of_year)
        total = irradiance.get_total_irradiance(
            self.plane.tilt_deg, self.plane.azimuth_deg, self.zenith, self.azimuth,
            split["dni"], ghi, split["dhi"],
            irradiance.get_extra_radiation(self.day_of_year), albedo=ALBEDO, model="haydavies",
        )["poa_global"]  # fmt: skip
        return total.sum(axis=1) * MJ_PER_WH


def radiant_exposure(
    weather: pd.DataFrame, band: Band, plane: Plane | None
) -> RadiantExposure | None:
    """Radiant exposure of one site by day, from its weather (columns as in the weather sheet).

    None where a calendar month is neither measured nor, without `plane`, can be computed. Without
    a plane that of the horizontal is taken.
    """
    solar, own = (_daily(weather, COLUMNS[name]) for name in ("solar", band))
    measured = solar if own.empty else own
    what = f"{'ultraviolet ' * (band == 'uv')}radiant exposure"
    source = f"{what} as measured{' of all sunlight' * (band == 'uv' and own.empty)}"
    if plane is None:
        usual = _monthly(measured)
        on = f"{source}, on the horizontal"
        return None if usual.isna().any() else RadiantExposure(measured, usual, on)
    days = pd.date_range("2023-01-01", periods=365)
    usual = pd.Series(_clear(plane, days), days).groupby(days.month).mean()
    if measured.empty:
        return RadiantExposure(measured, usual, f"{what} of a clear sky, computed and not measured")
    seen = pd.DatetimeIndex(measured.index)
    sky = Sky.over(plane, seen)
    total = solar.reindex(measured.index).to_numpy()
    total = np.where(np.isnan(total), sky.horizontal(), total)
    ratio = sky.in_plane(total) / np.maximum(total, NIGHT_MJ)
    daily = measured * ratio
    level = float(daily.to_numpy().sum() / usual.reindex(seen.month).to_numpy().sum())
    return RadiantExposure(
        daily, _monthly(daily).fillna(usual * level), f"{source}, brought into the plane"
    )


def _clear(plane: Plane, days: pd.DatetimeIndex) -> Hourly:
    sky = Sky.over(plane, days)
    return sky.in_plane(sky.horizontal())


def _daily(weather: pd.DataFrame, column: str) -> pd.Series:
    known = weather.reindex(columns=["date", column]).dropna()
    values = known.set_index(pd.to_datetime(known["date"]))[column].astype("float64")
    return values.groupby(level=0).mean()


def _monthly(daily: pd.Series) -> pd.Series:
    """Mean by calendar month, missing below MIN_DAYS known days."""
    months = daily.groupby(pd.DatetimeIndex(daily.index).month)
    return months.mean().where(months.count() >= MIN_DAYS).reindex(range(1, 13))
