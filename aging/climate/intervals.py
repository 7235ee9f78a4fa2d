"""What the weather brought between days: sun in the plane of a rack, rain, dry spells, dust.

An interval counts its first day and not its last, so that those which follow each other add up.
Measured sun wins. Any other day has, as in climate/clock.py, the site's mean of its calendar month
(a clear sky's where nothing is measured), and of it the share of ultraviolet that measured days
show. Limits of that share, which a wrong unit, band or sensor breaks: common practice, no source.

A wet day has WET_MM or more: Klein Tank, Zwiers & Zhang 2009, WMO-TD 1500, as is the dry spell.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from aging.climate.radiation import (
    COLUMNS,
    MEASURED,
    MIN_DAYS,
    Band,
    Plane,
    RadiantExposure,
    radiant_exposure,
)
from aging.errors import require

WET_MM = 1.0
UV_BAND_NM = (295, 385)
UV_SHARE = (0.03, 0.06)
DAY = pd.Timedelta(days=1)
READ = ("solar_MJ_m2", "uv_MJ_m2", "rain_mm", "pm10_ug_m3")


@dataclass(frozen=True)
class Interval:
    """Sums and counts from `start` to the day before `end` (ISO 8601); NaN where not known.

    solar_MJ_m2, uv_MJ_m2 : radiant exposure in the plane; `..._measured_days` of it were measured
    uv_share : ultraviolet over all sunlight, of MIN_DAYS or more days with both on record
    rain_mm, wet_days, dry_days, longest_dry_spell : of the days with rain on record, `rain_days`
    pm10_ug_m3 : mean of `pm10_days` days
    """

    start: str
    end: str
    days: int
    solar_MJ_m2: float  # noqa: N815 - as the column of the sheet
    solar_measured_days: int
    uv_MJ_m2: float  # noqa: N815
    uv_measured_days: int
    uv_share: float
    rain_mm: float
    rain_days: int
    wet_days: int
    dry_days: int
    longest_dry_spell: int
    pm10_ug_m3: float
    pm10_days: int


@dataclass(frozen=True)
class Intervals:
    """Intervals that follow each other at one site, where their sun comes from, and notes."""

    rows: tuple[Interval, ...]
    source: str
    notes: tuple[str, ...]


def odd_share(uv_over_solar: float) -> bool:
    """Whether ultraviolet is no plausible part of all sunlight; no where it is not known."""
    low, high = UV_SHARE
    return uv_over_solar < low or uv_over_solar > high


def uv_share(days: pd.DataFrame) -> float:
    """Ultraviolet over all sunlight on days that have both; NaN below MIN_DAYS of them."""
    both = days[list(COLUMNS.values())].dropna()
    solar, uv = both.sum()
    return float(uv / solar) if len(both) >= MIN_DAYS and solar > 0 else np.nan


def intervals(
    weather: pd.DataFrame, plane: Plane | None, dates: Sequence[pd.Timestamp],
    origin: str = MEASURED,
) -> Intervals:  # fmt: skip
    """What one site's weather (columns as in the weather sheet) brought between ascending dates.

    Without a plane sun on the horizontal is summed, and days on which it was not measured leave
    the sum unknown unless every calendar month was. `origin` says where weather that was not
    measured there and then comes from. CallError where dates do not ascend.
    """
    days = [pd.Timestamp(date).normalize() for date in dates]
    ascending = len(days) > 1 and all(first < then for first, then in pairwise(days))
    require(ascending, "dates", [f"{day:%Y-%m-%d}" for day in days], "two or more, ascending")
    every = pd.date_range(days[0], days[-1], inclusive="left")
    known = weather.reindex(columns=["date", *READ])
    record = known.groupby(pd.to_datetime(known.pop("date"))).mean()
    sun, source = _sun(weather, record, plane, every, origin)
    daily = record.reindex(every).join(sun)
    found = tuple(_interval(start, end, daily[start : end - DAY]) for start, end in pairwise(days))
    return Intervals(found, source, tuple(_notes(found)))


def _sun(
    weather: pd.DataFrame, record: pd.DataFrame, plane: Plane | None, every: pd.DatetimeIndex,
    origin: str,
) -> tuple[pd.DataFrame, str]:  # fmt: skip
    """By day `solar` and `uv` in the plane, whether each was measured; the source."""

    def of(band: Band) -> RadiantExposure:
        unknown, own = pd.Series(np.nan, range(1, 13)), record[COLUMNS[band]].dropna()
        told = f"radiant exposure {'not on record, nor coordinates' if own.empty else origin}"
        known = radiant_exposure(weather, band, plane, origin)
        return known or RadiantExposure(own, unknown, told)

    whole = of("solar")
    solar, uv = _each(whole, every), pd.Series(np.nan, every)
    if record[COLUMNS["uv"]].notna().any():
        own = of("uv").daily
        share = own.sum() / _each(whole, pd.DatetimeIndex(own.index)).sum(skipna=False)
        uv = own.reindex(every).fillna(share * solar)
    seen = {
        f"{band}_measured": record[column].reindex(every).notna() & (origin == MEASURED)
        for band, column in COLUMNS.items()
    }
    return pd.DataFrame({"solar": solar, "uv": uv, **seen}), whole.source


def _each(sun: RadiantExposure, days: pd.DatetimeIndex) -> pd.Series:
    """Measured on the day, else the mean of its calendar month."""
    usual = pd.Series(sun.typical.reindex(days.month).to_numpy(), days)
    return sun.daily.reindex(days).fillna(usual)


def _interval(start: pd.Timestamp, end: pd.Timestamp, daily: pd.DataFrame) -> Interval:
    rain, dust = daily["rain_mm"].dropna(), daily["pm10_ug_m3"]
    dry = daily["rain_mm"] < WET_MM
    return Interval(
        start=f"{start:%Y-%m-%d}",
        end=f"{end:%Y-%m-%d}",
        days=len(daily),
        solar_MJ_m2=float(daily["solar"].sum(skipna=False)),
        solar_measured_days=int(daily["solar_measured"].sum()),
        uv_MJ_m2=float(daily["uv"].sum(skipna=False)),
        uv_measured_days=int(daily["uv_measured"].sum()),
        uv_share=uv_share(daily),
        rain_mm=float(rain.sum()) if len(rain) else np.nan,
        rain_days=len(rain),
        wet_days=int((rain >= WET_MM).sum()),
        dry_days=int(dry.sum()),
        longest_dry_spell=int(dry.groupby((~dry).cumsum()).sum().max()),
        pm10_ug_m3=float(dust.mean()),
        pm10_days=int(dust.notna().sum()),
    )


def _notes(found: Sequence[Interval]) -> Iterator[str]:
    days = sum(one.days for one in found)
    band = f"{UV_BAND_NM[0]} to {UV_BAND_NM[1]} nm"
    bands: dict[Band, str] = {"solar": "sun", "uv": f"ultraviolet ({band})"}
    for name, what in bands.items():
        lacking = days - sum(getattr(one, f"{name}_measured_days") for one in found)
        unknown = any(np.isnan(getattr(one, COLUMNS[name])) for one in found)
        if lacking and (unknown or lacking < days):  # else the source tells
            fate = "not known" if unknown else "computed"
            yield f"{what} was not measured on {lacking} of {days} days and is {fate} there"
    low, high = UV_SHARE
    for one in found:
        if odd_share(one.uv_share):
            yield (
                f"{one.start} to {one.end}: ultraviolet is {one.uv_share:.3f} of all sunlight, "
                f"outside {low} to {high}: check its unit, its band ({band}) and its sensor"
            )
