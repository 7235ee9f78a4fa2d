"""What the weather brought to the racks between two dates or visits, as a table for a person."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

import pandas as pd

from aging.cli import sources
from aging.cli.findings import tell
from aging.cli.output import is_day, screen, table
from aging.cli.results import figure
from aging.climate.intervals import UV_BAND_NM, WET_MM, Interval, intervals
from aging.climate.radiation import MEASURED, Plane
from aging.clocks import rack_plane
from aging.errors import CallError, require
from aging.intake.weather_files import WeatherFile, read_weather_file
from aging.records import Exposure, Finding

HEADERS = ("from", "to", "sun", "UV", "UV\n% of sun", "rain\nmm", "wet\ndays", "dry\ndays",
           "dry\nspell", "PM10\nug/m3")  # fmt: skip
LEGEND = (
    "sun, UV: radiant exposure in the plane of the rack, MJ/m2",
    f"UV: {UV_BAND_NM[0]} to {UV_BAND_NM[1]} nm",
    f"wet: {WET_MM:g} mm of rain or more; dry spell: the longest run of dry days",
    "* not measured on all days; the day of `to` is not counted",
)


@dataclass(frozen=True)
class Span:
    """What to sum: between two ISO 8601 dates, or (`visits`) between the visits among them."""

    start: str | None = None
    end: str | None = None
    visits: bool = False

    def __post_init__(self) -> None:
        for option, text in (("--from", self.start), ("--to", self.end)):
            require(text is None or is_day(text), option, text, "a date such as 2025-04-30")
        if self.start and self.end:
            require(self.start < self.end, "--to", self.end, f"a date after {self.start}")

    def dates(self, exposure: Exposure, site: str) -> list[pd.Timestamp]:
        """Ends of the intervals at a site; without dates from its first exposure to its last visit.

        Fewer than two where the site has no such interval.
        """
        panels = exposure.panels[exposure.panels["site"] == site]
        panels = panels[panels["kind"] != "file_specimen"]
        read = exposure.readings[exposure.readings["panel"].isin(panels["panel"])]
        days = sorted({*panels["exposed_on"].str[:10], *read["read_on"].str[:10]})
        start = self.start or min(days, default="")
        end = self.end or max(days, default="")
        if not self.visits:
            days = [start, end] if "" < start < end else []
        return [pd.Timestamp(day) for day in days if start <= day <= end]


@dataclass(frozen=True)
class Brought:
    """Rows of `site` and Interval's fields; where each site's sun comes from; notes, findings."""

    rows: pd.DataFrame
    sources: dict[str, str]
    notes: tuple[str, ...]
    findings: tuple[Finding, ...]
    refused: bool


@dataclass(frozen=True)
class _Rack:
    """The plane at a site, the weather that falls on it, and the dates to sum between."""

    site: str
    plane: Plane | None
    dates: list[pd.Timestamp]
    weather: pd.DataFrame


def brought(
    source: str | None, span: Span, *, site: str | None = None, tilt: float | None = None,
    azimuth: float | None = None, file: Path | None = None,
) -> Brought:  # fmt: skip
    """What a source's weather, or a file's year instead of it, brought to each site's rack."""
    year = None if file is None else read_weather_file(file)
    left_out: tuple[str, ...] = ()
    if source is None:
        racks = [_alone(year, span)]
    else:
        exposure, left_out = sources.facts(source, None, None)
        known = exposure.sites["site"].tolist()
        require(site is None or site in known, "--site", site, known)
        racks = [_rack(exposure, name, span, year) for name in ([site] if site else known)]
    rows, told, notes = [], {}, list(left_out)
    for rack in racks:
        if len(rack.dates) < 2:  # noqa: PLR2004
            notes.append(f"{rack.site}: no two dates to sum between")
            continue
        plane = facing(rack.plane, tilt, azimuth, rack.site)
        found = intervals(rack.weather, plane, rack.dates, year.origin if year else MEASURED)
        rows += [{"site": rack.site, **asdict(one)} for one in found.rows]
        told[rack.site] = found.source + (
            f"; rack at {plane.tilt_deg:g} deg, facing {plane.azimuth_deg:g} deg" if plane else ""
        )
        notes += [f"{rack.site}: {note}" for note in found.notes]
    findings = year.findings if year else ()
    frame = pd.DataFrame(rows, columns=["site", *(one.name for one in fields(Interval))])
    return Brought(frame, told, tuple(notes), findings, bool(left_out))


def facing(
    place: Plane | None, tilt: float | None, azimuth: float | None, site: str
) -> Plane | None:
    """The plane with another tilt or azimuth, where one is given; None where nobody knows it."""
    if place is None:
        if tilt or azimuth is not None:
            raise CallError(
                f"--tilt, --azimuth: {site} has no latitude and longitude; leave them out"
            )
        return None
    asked = {"tilt_deg": tilt, "azimuth_deg": azimuth}
    return replace(place, **{name: angle for name, angle in asked.items() if angle is not None})


def _alone(year: WeatherFile | None, span: Span) -> _Rack:
    if year is None:
        raise CallError("name a SOURCE, or a weather file with --file")
    if span.start is None or span.end is None or span.visits:
        raise CallError("--file without SOURCE: name the dates with --from and --to")
    dates = [pd.Timestamp(span.start), pd.Timestamp(span.end)]
    return _Rack(year.name, year.place, dates, year.on(_days(dates)))


def _rack(exposure: Exposure, site: str, span: Span, year: WeatherFile | None) -> _Rack:
    hung = exposure.panels[exposure.panels["site"] == site]
    plane = rack_plane(exposure, site, hung["panel"].tolist())
    dates = span.dates(exposure, site)
    if year is None:
        return _Rack(site, plane, dates, exposure.weather[exposure.weather["site"] == site])
    if plane is None:
        plane = year.place
    there = facing(year.place, plane.tilt_deg, plane.azimuth_deg, site)
    return _Rack(site, there, dates, year.on(_days(dates)))


def _days(dates: list[pd.Timestamp]) -> pd.DatetimeIndex:
    return (
        pd.date_range(min(dates), max(dates), inclusive="left") if dates else pd.DatetimeIndex([])
    )


def show(found: Brought) -> None:
    """A block of rows a site, one an interval; how to read them; findings and notes."""
    console = screen()
    grid = table(HEADERS, left=2)
    for site, rows in found.rows.groupby("site", sort=False):
        grid.add_section()
        grid.add_row(str(site), style="bold")
        for row in rows.to_dict("records"):
            grid.add_row(str(row["start"]), str(row["end"]), *_figures(row))
    if len(found.rows):
        console.print(grid)
    for text in LEGEND:
        console.print(text)
    for site, source in found.sources.items():
        console.print(f"{site}: {source}")
    for finding in found.findings:
        tell(console, [finding])
    for note in found.notes:
        console.print(f"Note: {note}")


def _figures(row: Mapping[Hashable, Any]) -> Iterator[str]:
    for column, measured, decimals in (
        ("solar_MJ_m2", "solar_measured_days", 0),
        ("uv_MJ_m2", "uv_measured_days", 1),
    ):
        yield figure(row[column], decimals) + "*" * _part(row, column, measured)
    yield figure(100 * row["uv_share"], 1)
    yield figure(row["rain_mm"], 0) + "*" * _part(row, "rain_mm", "rain_days")
    for column in ("wet_days", "dry_days", "longest_dry_spell"):
        yield str(row[column]) if row["rain_days"] else "-"
    yield figure(row["pm10_ug_m3"], 0) + "*" * _part(row, "pm10_ug_m3", "pm10_days")


def _part(row: Mapping[Hashable, Any], column: str, days: str) -> bool:
    """Whether there is a number and not all of its days were measured."""
    return bool(row[days] < row["days"] and not pd.isna(row[column]))
