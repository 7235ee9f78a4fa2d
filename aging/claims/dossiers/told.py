"""Sections that tell what was exposed, read, met and left out: stored facts, nothing fitted."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from aging.claims.asked import counted, listed
from aging.claims.dossiers.case import Case, figure
from aging.climate.intervals import Interval, intervals
from aging.clocks import rack_plane
from aging.cube import moments
from aging.errors import CallError
from aging.fieldwork.instrument_log import calibrations
from aging.fieldwork.report import Section
from aging.fieldwork.story import COUNTS, OWN_SERIES, REPLACED
from aging.vocabulary import PROPERTIES, property_named

NONE = "none recorded"
ONE_BY_ONE = 40
CONDITIONS = ("method", "weighting", "illuminant", "observer_deg", "geometry")


def sections(case: Case) -> Iterator[Section]:
    """The sections in their order."""
    yield _sites(case)
    yield _panels(case)
    yield _visits(case)
    yield _methods(case)
    yield _instruments(case)
    yield _weather(case)
    yield _events(case)
    yield _left_out(case)


def _own(case: Case) -> pd.DataFrame:
    """Readings of the fitted property on the claim's panels."""
    rows = case.readings
    name = case.evidence.fit.gathered.property.name
    return rows[rows["panel"].isin(case.panels["panel"]) & (rows["property"] == name)]


def _cell(value: object) -> str:
    if value is None or (isinstance(value, float) and np.isnan(value)):
        return "-"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _sites(case: Case) -> Section:
    sites = case.exposure.sites.set_index("site")
    rows = []
    for site in case.claim.sites:
        facts = sites.reindex([site]).iloc[0]
        own = case.panels[case.panels["site"] == site]
        plane = own[["tilt_deg", "azimuth_deg"]].drop_duplicates()
        faces = [f"{_cell(tilt)} / {_cell(azimuth)}" for tilt, azimuth in plane.to_numpy()]
        racks = sorted(own["rack"].dropna().unique())
        rows.append((
            site, _cell(facts["name"]), _cell(facts["climate"]),
            f"{_cell(facts['latitude_deg'])}, {_cell(facts['longitude_deg'])}",
            _cell(facts["elevation_m"]), listed(racks) or "-", "; ".join(faces) or "-",
        ))  # fmt: skip
    heads = ("Site", "Name", "Climate", "Latitude, longitude (deg)", "Elevation (m)", "Racks",
             "Tilt / azimuth (deg)")  # fmt: skip
    return Section("Sites and racks", (), heads, tuple(rows), len(heads))


def _panels(case: Case) -> Section:
    read = _own(case)
    read = read[read["standing"] == COUNTS].groupby("panel")["read_on"].agg(["size", "max"])
    rows = []
    each: list[Any] = list(case.panels.itertuples())
    for one in each:
        made = [str(one.substrate), str(one.backing)]
        film = f"{one.dry_film_um:g} µm" if pd.notna(one.dry_film_um) else ""
        made = [*(text for text in made if text != "nan"), film]
        own = read.reindex([one.panel]).iloc[0]
        times = 0 if pd.isna(own["size"]) else int(own["size"])
        rows.append((
            one.panel, one.site, _cell(one.position), ", ".join(filter(None, made)) or "-",
            one.exposed_on, _cell(one.closed_on), _cell(own["max"])[:10], str(times),
        ))  # fmt: skip
    heads = ("Panel", "Site", "Position", "Made of", "Exposed on", "Closed on", "Last read",
             "Readings")  # fmt: skip
    line = "Readings are those that count: unwashed, under one set of conditions, not excluded."
    return Section("Panels", (line,), heads, tuple(rows), len(heads) - 1)


def _visits(case: Case) -> Section:
    rows = case.evidence.of(case.claim.formulation)
    prop = case.evidence.fit.gathered.property
    found = []
    for (site, _), some in rows.groupby(["site", "visit"]):
        kinds = sorted(some["instrument"].dropna().unique())
        found.append((
            str(site), f"{some['at'].min():%Y-%m-%d}", listed(kinds) or "-",
            f"{some['months'].mean():.1f}", str(some["panel"].nunique()),
            figure(some["value"].mean(), prop, more=2), figure(some["value"].std(), prop, more=2),
        ))  # fmt: skip
    heads = ("Site", "Read on", "Instrument", "Month", "Panels", "Mean", "SD")
    line = (
        f"{prop.label} as read, mean over panels of {case.claim.formulation}; SD is that between "
        "panels. Each reading stands in readings.csv of the evidence pack."
    )
    return Section("Readings by visit", (line,), heads, tuple(found), 3)


def _methods(case: Case) -> Section:
    rows = case.readings
    rows = rows[rows["panel"].isin(case.panels["panel"]) & (rows["standing"] != REPLACED)]
    found = []
    for name in [name for name in PROPERTIES if (rows["property"] == name).any()]:
        some = rows[rows["property"] == name]
        kinds = some[list(CONDITIONS)].drop_duplicates().dropna(how="all")
        under = [", ".join(_cell(cell) for cell in kind if pd.notna(cell))
                 for kind in kinds.to_numpy()]  # fmt: skip
        prop = PROPERTIES[name]
        found.append((prop.label, prop.method, "; ".join(under) or NONE, str(len(some))))
    if case.evidence.fit.balance is not None:
        found.append((case.prop.label, case.prop.method, "calculated, standard conditions", "-"))
    heads = ("Property", "Method", "Conditions", "Readings")
    notes = () if case.evidence.fit.balance is None else case.evidence.fit.balance.notes
    return Section("Methods", notes, heads, tuple(found), 3)


def _instruments(case: Case) -> Section:
    read = _own(case)
    read = read[read["standing"].isin([COUNTS, *OWN_SERIES.values()])]
    until = read["read_on"].max()
    if pd.isna(until):
        return Section("Instruments and calibrations", ("No reading counts.",))
    log = calibrations(case.exposure, until).set_index("instrument")
    facts = case.exposure.instruments.drop_duplicates("instrument", keep="last")
    facts = facts.set_index("instrument")
    checks = case.exposure.instrument_checks
    rows = []
    for name, some in read.groupby("instrument"):
        own, more = log.reindex([name]).iloc[0], facts.reindex([name]).iloc[0]
        due = more["calibration_due"]
        state = NONE if pd.isna(due) else f"{due}, {own['state']} on {until[:10]}"
        tiles = checks[checks["instrument"] == name]
        off = (tiles["value"] - tiles["certified"]).abs().max()
        tile = counted(len(tiles), "check") if len(tiles) else NONE
        tile += "" if pd.isna(off) else f", {off:.3f} off at most"
        rows.append((
            str(name), _cell(more["kind"]), _cell(more["serial"]), _cell(more["laboratory"]),
            state, tile, str(len(some)),
        ))  # fmt: skip
    heads = ("Instrument", "Kind", "Serial", "Laboratory", "Calibration due", "Tile", "Readings")
    unnamed = int(read["instrument"].isna().sum())
    lines = (f"{counted(unnamed, 'reading')} without a named instrument.",) if unnamed else ()
    return Section("Instruments and calibrations", lines, heads, tuple(rows), len(heads) - 1)


def _weather(case: Case) -> Section:
    read, rows, lines = case.evidence.of(case.claim.formulation), [], []
    for site in case.claim.sites:
        own = case.panels[case.panels["site"] == site]
        weather = case.exposure.weather[case.exposure.weather["site"] == site]
        start = moments(own["exposed_on"]).min()
        end = read.loc[read["site"] == site, "at"].max()
        plane = rack_plane(case.exposure, site, own["panel"].tolist())
        try:
            found = intervals(weather, plane, [start, end])
        except CallError:  # read on its first day alone
            lines.append(f"{site}: no day lies between its first and last reading.")
            continue
        rows.append((site, *_met(found.rows[0])))
        lines.append(f"{site}: {'; '.join((found.source, *found.notes))}.")
    heads = ("Site", "From", "To", "Days", "Sun (MJ/m²)", "UV (MJ/m²)", "Rain (mm)", "Wet days",
             "Longest dry spell (days)", "PM10 (µg/m³)")  # fmt: skip
    line = (
        "Sums in the plane of the rack from the first exposure to the last reading; in brackets "
        "the days on which it was measured, where not all."
    )
    return Section("Weather and radiant exposure", (line, *lines), heads, tuple(rows), 3)


def _met(one: Interval) -> tuple[str, ...]:
    def part(value: float, days: int, digits: int) -> str:
        if np.isnan(value):
            return "not known"
        return f"{value:.{digits}f}" + (f" ({days})" if days < one.days else "")

    wet = (str(one.wet_days), str(one.longest_dry_spell)) if one.rain_days else ("-", "-")
    return (
        one.start, one.end, str(one.days), part(one.solar_MJ_m2, one.solar_measured_days, 0),
        part(one.uv_MJ_m2, one.uv_measured_days, 0), part(one.rain_mm, one.rain_days, 0), *wet,
        part(one.pm10_ug_m3, one.pm10_days, 0),
    )  # fmt: skip


def _events(case: Case) -> Section:
    rows = case.exposure.events
    mine = rows["panel"].isin(case.panels["panel"])
    at_site = rows["panel"].isna() & (rows["site"].isna() | rows["site"].isin(case.claim.sites))
    since = rows["on"].str[:10] >= case.panels["exposed_on"].min()
    rows = rows[mine | (at_site & since)].sort_values("on", kind="stable")
    found = tuple(zip(rows["on"].str[:16], rows["kind"], rows["panel"].fillna(rows["site"]).fillna(
        "all sites"), rows["remark"].fillna(""), strict=True))  # fmt: skip
    lines = () if found else ("None is logged, and no wash.",)
    if found and not (rows["kind"] == "wash").any():
        lines = ("No wash is logged.",)
    return Section("Washing and other events", lines, ("On", "What", "Where", "Remark"), found, 4)


def _left_out(case: Case) -> Section:
    rows = case.readings
    rows = rows[rows["panel"].isin(case.panels["panel"]) & (rows["standing"] != COUNTS)]
    heads = ("Panel", "Read on", "Value", "Standing", "Why", "By")
    title, what = "Exclusions and corrections", "Of the claim's panels"
    if rows.empty:
        return Section(title, ("Every reading of the claim's panels counts as it was read.",))
    if len(rows) <= ONE_BY_ONE:
        each: list[Any] = list(rows.itertuples())
        found = tuple(
            (one.panel, one.read_on[:10], f"{property_named(one.property).symbol} {one.value:.4g}",
             one.standing, one.why or f"{one.surface_state}: not in the unwashed series",
             _cell(one.recorded_by)) for one in each
        )  # fmt: skip
        return Section(title, (f"{what}, {counted(len(rows), 'reading')}.",), heads, found, 6)
    why = rows["why"].mask(rows["why"] == "", rows["surface_state"] + " readings")
    tally = rows.groupby([rows["standing"], why.rename("cause"), rows["property"]], sort=True)
    counts = tuple(
        (str(standing), str(cause), property_named(str(name)).label,
         str(some["panel"].nunique()), str(len(some)))
        for (standing, cause, name), some in tally
    )  # fmt: skip
    lines = (f"{what}, {counted(len(rows), 'reading')}; each stands in readings.csv.",)
    return Section(title, lines, ("Standing", "Why", "Property", "Panels", "Readings"), counts, 3)
