"""A year of hourly weather (TMY3, EPW) to days of the weather sheet.

Such a file holds months of different years, chosen as typical, or one year; its sun is modelled
more often than measured, and nothing in it is ultraviolet or dust. The day is that of the file's
standard time. A day with an hour that has no value is left empty in that column.

Formats: Wilcox & Marion 2008, Users Manual for TMY3 Data Sets, NREL/TP-581-43156; EnergyPlus,
Auxiliary Programs, EPW data dictionary; both as pvlib reads them.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pandas as pd

from aging.climate.radiation import MJ_PER_WH, Plane
from aging.errors import SourceError
from aging.intake.raw import shown
from aging.intake.text import decode
from aging.records import Finding

CODES: MappingProxyType[str, str] = MappingProxyType({
    "missing-hours": "hours without a value, or with one that cannot be",
    "doubtful-rain": "amounts of rain that no climate has; rain is left out",
})  # fmt: skip
HOURS, YEAR = 24, 365
LEAP, BEFORE = 229, 228  # 29 and 28 February, as in WeatherFile.days
FIRST_ROW = {"EPW": 9, "TMY3": 3}
ANY_YEAR = 2023
MOST_RAIN_MM = 305.0  # in one hour: the record of the world, Holt 1947
MEDIAN_RAIN_MM = 5.0  # of hours with rain; files in tenths of a millimetre have more: no source
BROKEN = (ValueError, KeyError, IndexError, TypeError, AttributeError, OverflowError)


@dataclass(frozen=True)
class _Quantity:
    """A column of the sheet: its name in each format, limits of an hour, day over sum of hours."""

    epw: str
    tmy3: str
    low: float
    high: float
    unit: str
    factor: float


QUANTITIES = {
    "rain_mm": _Quantity(
        "liquid_precipitation_depth", "Lprecip depth (mm)", 0, 998, "mm", 1.0
    ),
    "temperature_C": _Quantity("temp_air", "temp_air", -90, 60, "degC", 1 / HOURS),
    "relative_humidity_pct": _Quantity(
        "relative_humidity", "relative_humidity", 0, 110, "%", 1 / HOURS
    ),
    "solar_MJ_m2": _Quantity("ghi", "ghi", 0, 1500, "W/m2", MJ_PER_WH),
}  # fmt: skip


@dataclass(frozen=True)
class WeatherFile:
    """A year by day. `days` has the sheet's columns, by 100 times month plus day.

    place : where it holds, level;  years : that its months come from
    """

    name: str
    place: Plane
    years: tuple[int, ...]
    days: pd.DataFrame
    findings: tuple[Finding, ...]

    @property
    def origin(self) -> str:
        """What its weather is, to stand behind "radiant exposure"."""
        where = f"{self.place.latitude_deg:g}, {self.place.longitude_deg:g}"
        first, last = min(self.years), max(self.years)
        if first == last:
            kind = f"one year ({first}), measured or modelled"
        else:
            kind = f"a typical year put together from {first} to {last}, no measured year"
        return f"of {self.name} at {where}: {kind}"

    def on(self, dates: pd.DatetimeIndex) -> pd.DataFrame:
        """Rows of the weather sheet: the year laid over dates, 28 February twice in a leap year."""
        key = 100 * dates.month + dates.day
        rows = self.days.loc[np.where(key == LEAP, BEFORE, key)]
        return rows.assign(date=dates.strftime("%Y-%m-%d")).reset_index(drop=True)

    def year(self) -> pd.DataFrame:
        """Its 365 rows."""
        return self.on(pd.date_range(f"{ANY_YEAR}-01-01", periods=YEAR))


def read_weather_file(path: str | Path) -> WeatherFile:
    """Read a TMY3 or EPW file, told apart by its first lines.

    SourceError where it is neither, is damaged or holds no whole year of hours.
    """
    path = Path(path)
    try:
        text = decode(path.read_bytes())[0]
    except (OSError, UnicodeDecodeError) as error:
        raise SourceError(f"{path}: cannot be read ({error})") from error
    kind = "EPW" if text.startswith("LOCATION,") else "TMY3"
    if kind == "TMY3" and "\nDate (MM/DD/YYYY)," not in text[:2000]:
        raise SourceError(
            f"{path}: neither TMY3 (second line begins with Date (MM/DD/YYYY)) nor EPW (first line "
            "begins with LOCATION); give a file in one of these formats"
        )
    try:
        hours, place, years = _epw(text) if kind == "EPW" else _tmy3(text)
    except BROKEN as error:
        raise SourceError(f"{path}: damaged {kind} file ({shown(str(error))})") from error
    hours = hours[hours["day"] != LEAP]
    whole = hours.groupby("day").size() == HOURS
    if whole.sum() != YEAR or not whole.all():
        raise SourceError(
            f"{path}: {int(whole.sum())} days of {HOURS} hours; needed: a whole year of {YEAR}"
        )
    findings = [*_missing(path.name, kind, hours), *_doubtful_rain(path.name, hours)]
    for column, of in QUANTITIES.items():
        hours[column] = hours[column].where(hours[column].between(of.low, of.high))
    if any(one.code == "doubtful-rain" for one in findings):
        hours["rain_mm"] = np.nan
    days = hours.groupby("day").sum(min_count=HOURS)
    days *= pd.Series({column: of.factor for column, of in QUANTITIES.items()})
    return WeatherFile(path.name, place, years, days, tuple(findings))


def _tmy3(text: str) -> tuple[pd.DataFrame, Plane, tuple[int, ...]]:
    from pvlib.iotools import read_tmy3

    read, meta = read_tmy3(io.StringIO(text), coerce_year=ANY_YEAR)
    years = read["Date (MM/DD/YYYY)"].str[-4:].astype(int)
    begun = pd.DatetimeIndex(read.index) - pd.Timedelta(hours=1)  # stamped at the end of the hour
    return _hours(read, begun, "tmy3"), _place(meta), tuple(sorted(set(years)))


def _epw(text: str) -> tuple[pd.DataFrame, Plane, tuple[int, ...]]:
    from pvlib.iotools import read_epw

    read, meta = read_epw(io.StringIO(text))
    begun = pd.DatetimeIndex(read.index)
    return _hours(read, begun, "epw"), _place(meta), tuple(sorted(set(begun.year)))


def _hours(read: pd.DataFrame, begun: pd.DatetimeIndex, names: str) -> pd.DataFrame:
    """Numbers of each hour under the sheet's names, and its day as in WeatherFile."""
    kept = {
        column: pd.to_numeric(read[getattr(of, names)], errors="coerce").to_numpy(np.float64)
        for column, of in QUANTITIES.items()
    }
    return pd.DataFrame({"day": 100 * begun.month + begun.day, **kept})


def _place(meta: Mapping[str, float]) -> Plane:
    latitude, longitude, height = (meta[name] for name in ("latitude", "longitude", "altitude"))
    if not (abs(latitude) <= 90 and abs(longitude) <= 180 and np.isfinite(height)):  # noqa: PLR2004
        raise ValueError(f"it lies at latitude {latitude:g}, longitude {longitude:g}")
    return Plane(latitude, longitude, height, azimuth_deg=180.0 if latitude >= 0 else 0.0)


def _missing(file: str, kind: str, hours: pd.DataFrame) -> Iterator[Finding]:
    for column, of in QUANTITIES.items():
        lacking = ~hours[column].between(of.low, of.high)
        if lacking.any():
            first = int(np.argmax(lacking))
            value = hours[column].iloc[first]
            seen = (
                f"{'empty' if np.isnan(value) else f'{value:g}'}, {int(lacking.sum())} such hours"
            )
            yield Finding(
                "missing-hours", "warn", file, FIRST_ROW[kind] + first, column, seen,
                f"{of.low:g} to {of.high:g} {of.unit}", "their days are left empty",
            )  # fmt: skip


def _doubtful_rain(file: str, hours: pd.DataFrame) -> Iterator[Finding]:
    rain = hours["rain_mm"][hours["rain_mm"].between(0, QUANTITIES["rain_mm"].high)]
    wet = rain[rain > 0]
    likely = bool(wet.median() <= MEDIAN_RAIN_MM and wet.max() <= MOST_RAIN_MM)
    if len(rain) and not likely:
        seen = f"{wet.median():g} mm as the usual hour with rain, {wet.max():g} mm as the most"
        yield Finding(
            "doubtful-rain", "warn", file, None, "rain_mm",
            seen if len(wet) else "no rain in the whole year",
            f"up to {MEDIAN_RAIN_MM:g} and {MOST_RAIN_MM:g} mm",
            "rain is left out: some such files hold tenths of a millimetre, some no rain at all",
        )  # fmt: skip
