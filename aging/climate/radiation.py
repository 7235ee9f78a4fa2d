"""Radiant exposure in the plane of a rack, by day, from what is measured on the horizontal.

A day's measured sum (MJ/m2, global horizontal) is split into beam and diffuse, both are spread over
its hours like the clear sky's, and brought into the plane by the sky of Hay and Davies over a
ground of albedo ALBEDO. Ultraviolet takes the total's ratio of plane to horizontal. Where nothing
is measured the clear sky stands in: too much in all, but as a clock (climate/clock.py) it counts
only how its months compare. Days are solar days, from the longitude.

Split: Erbs, Klein & Duffie 1982, Solar Energy 28:293, daily (Duffie & Beckman, Solar Engineering of
Thermal Processes, eq. 2.11.1). Hay & Davies 1980, Proc. First Canadian Solar Radiation Data
Workshop, 59. Clear sky: Ineichen & Perez 2002, Solar Energy 73:151, with pvlib's table of monthly
turbidity. The last two as in pvlib.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

Band = Literal["solar", "uv"]
COLUMNS: dict[Band, str] = {"solar": "solar_MJ_m2", "uv": "uv_MJ_m2"}
MEASURED = "measured on the horizontal"
ALBEDO = 0.2  # of grass or gravel before the rack: common practice, no source
MIN_DAYS = 15  # measured days that tell the mean of a calendar month
MJ_PER_WH = 0.0036
NIGHT_MJ = 1e-6
HOURS = np.arange(24) + 0.5
WINTER_SUNSET_DEG = 81.4
ERBS = (  # powers of clearness, highest first; clearness beyond which the share is the last number
    ((9.3879, -11.9514, 2.4495, -0.2727, 1.0), 0.715, 0.143),
    ((0.8448, -2.5557, 0.2832, 1.0), 0.722, 0.175),
)
LOW_SUN_DEG = 87.0  # zenith beyond which all is taken as diffuse
Daily = npt.NDArray[np.float64]  # days
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
    """Sun and clear sky over a plane at the hours of some days, all (days, 24).

    beyond, clear : irradiance on the horizontal, W/m2, outside the atmosphere and under a clear sky
    """

    plane: Plane
    day_of_year: Daily
    zenith: Hourly
    azimuth: Hourly
    beyond: Hourly
    clear: Hourly

    @classmethod
    def over(cls, plane: Plane, days: pd.DatetimeIndex) -> Sky:
        """Sun and clear sky of each day."""
        from pvlib import atmosphere, clearsky, irradiance, solarposition

        midnight = pd.Timedelta(hours=-plane.longitude_deg / 15)
        hours = (days + midnight).repeat(24) + pd.to_timedelta(np.tile(HOURS, days.size), unit="h")
        hours = hours.tz_localize("UTC")
        at = (plane.latitude_deg, plane.longitude_deg)
        sun = solarposition.get_solarposition(hours, *at, plane.elevation_m)
        mass = atmosphere.get_relative_airmass(sun["apparent_zenith"])
        extra = irradiance.get_extra_radiation(hours.day_of_year.to_numpy())
        clear = clearsky.ineichen(
            sun["apparent_zenith"],
            atmosphere.get_absolute_airmass(mass, atmosphere.alt2pres(plane.elevation_m)),
            clearsky.lookup_linke_turbidity(hours, *at, interp_turbidity=False),
            plane.elevation_m,
            extra,
        )["ghi"]
        beyond = extra * np.maximum(np.cos(np.radians(sun["zenith"])), 0)
        columns = (sun["zenith"], sun["azimuth"], beyond, clear)
        day_of_year = days.day_of_year.to_numpy().astype(np.float64)
        return cls(plane, day_of_year, *(np.asarray(x, float).reshape(-1, 24) for x in columns))

    def horizontal(self) -> Daily:
        """Clear-sky sum of each day on the horizontal, MJ/m2."""
        return self.clear.sum(axis=1) * MJ_PER_WH

    def diffuse(self, horizontal: Daily) -> Daily:
        """Diffuse share of daily sums on the horizontal (MJ/m2)."""
        from pvlib.solarposition import declination_cooper69

        outside = np.maximum(self.beyond.sum(axis=1) * MJ_PER_WH, NIGHT_MJ)
        latitude = np.radians(self.plane.latitude_deg)
        slant = -np.tan(latitude) * np.tan(declination_cooper69(self.day_of_year))
        sunset = np.degrees(np.arccos(np.clip(slant, -1, 1)))
        return diffuse_share(np.minimum(horizontal / outside, 1), sunset)

    def in_plane(self, horizontal: Daily) -> Daily:
        """Daily sums on the horizontal as they fall on the plane, MJ/m2; 0 in a polar night."""
        return self.hourly_in_plane(horizontal).sum(axis=1) * MJ_PER_WH

    def hourly_in_plane(self, horizontal: Daily) -> Hourly:
        """The same by hour, W/m2."""
        from pvlib import irradiance

        whole = np.maximum(self.horizontal(), NIGHT_MJ)
        ghi = self.clear * (horizontal / whole)[:, None]
        low = self.zenith > LOW_SUN_DEG
        share = np.where(low, 1.0, self.diffuse(horizontal)[:, None])
        beam = ghi * (1 - share) / np.where(low, 1.0, np.cos(np.radians(self.zenith)))
        total = irradiance.get_total_irradiance(
            self.plane.tilt_deg, self.plane.azimuth_deg, self.zenith, self.azimuth,
            beam, ghi, ghi * share, irradiance.get_extra_radiation(self.day_of_year[:, None]),
            albedo=ALBEDO, model="haydavies",
        )["poa_global"]  # fmt: skip
        return np.asarray(total, dtype=np.float64)


def diffuse_share(clearness: Daily, sunset_deg: Daily) -> Daily:
    """Diffuse share of a day's sum from its clearness (0 to 1) and the hour angle of sunset."""
    winter, rest = (
        np.where(clearness < clear, np.polyval(powers, clearness), least)
        for powers, clear, least in ERBS
    )
    return np.where(sunset_deg <= WINTER_SUNSET_DEG, winter, rest)


def radiant_exposure(
    weather: pd.DataFrame, band: Band, plane: Plane | None, origin: str = MEASURED
) -> RadiantExposure | None:
    """Radiant exposure of one site by day, from its weather (columns as in the weather sheet).

    None where a calendar month is neither measured nor, without `plane`, can be computed. Without
    a plane that of the horizontal is taken. `origin` says where sun that was not measured there
    comes from.
    """
    solar, own = (_daily(weather, COLUMNS[name]) for name in ("solar", band))
    measured = solar if own.empty else own
    what = f"{'ultraviolet ' * (band == 'uv')}radiant exposure"
    seen_as = " of all sunlight" * (band == "uv" and own.empty) + f" {origin}"
    if plane is None:
        usual = _monthly(measured)
        known = RadiantExposure(measured, usual, what + seen_as)
        return None if usual.isna().any() else known
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
        daily,
        _monthly(daily).fillna(usual * level),
        f"{what}{seen_as}, brought into the plane of the rack",
    )


def _clear(plane: Plane, days: pd.DatetimeIndex) -> Daily:
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
