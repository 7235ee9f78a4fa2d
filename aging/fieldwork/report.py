"""What a visit brought: the facts of one site and day, worded for a reader (`report_pages` prints).

Nothing is projected here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from aging.checks import OPEN, QUESTIONED, Checked, check
from aging.errors import require
from aging.fieldwork.instrument_log import calibrations
from aging.fieldwork.photos import file_of
from aging.fieldwork.plan import visit_plan
from aging.fieldwork.story import LEFT_OUT, Kept, ever_read, standings, told
from aging.fieldwork.visit_figures import FILE, conditions, missing, outdoors, values
from aging.records import Exposure
from aging.vocabulary import PROPERTIES, Property

MOST_NAMED, MOST_PHOTOS = 6, 12
CLAIMS = "Each standing claim, judged on all readings kept so far and not on this visit alone."
CAUTIONS = (
    "The readings are of our own panels at one site on one day: no projection, and no rating.",
    "Panels read as exposed and panels read after a wash are told apart and never averaged.",
    "The spread is that between panels; spots of one panel are no replicates.",
    "A change since the last visit holds weather, instrument and season besides ageing.",
    "Open doubts are not settled: the means above still hold the readings they question.",
)


@dataclass(frozen=True)
class Section:
    """A part of the report: sentences, then a table whose first `left` columns hold text."""

    title: str
    lines: tuple[str, ...] = ()
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    left: int = 1


@dataclass(frozen=True)
class Strip:
    """What `charts.visit_strip_chart` draws, under its sentence."""

    prop: Property
    readings: pd.DataFrame
    means: pd.DataFrame
    statement: str


@dataclass(frozen=True)
class VisitReport:
    """A visit in words and figures; `strip` is None where only ratings were read.

    photos: caption and JPEG.
    """

    site: str
    on: str
    title: str
    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    strip: Strip | None
    photos: tuple[tuple[str, bytes], ...]
    cautions: tuple[str, ...] = CAUTIONS


def visit_report(
    exposure: Exposure,
    site: str,
    on: str,
    *,
    known: Kept | None = None,
    checked: Checked | None = None,
    watch: Sequence[str] = (),
) -> VisitReport:
    """Report of what was read at a site on a day.

    known: as from `story.kept`, tells who settled what, and photos. checked: a check already made.
    watch: a line on each standing claim, worded by `claims.watch_line`. CallError for a site or day
    without readings.
    """
    known = known or Kept()
    own = exposure.panels[exposure.panels["site"] == site]
    require(len(own) > 0, "site", site, sorted(exposure.panels["site"].unique()))
    here = outdoors(exposure, site)
    days = sorted(here["day"].unique())
    read = here[here["day"] == on]
    read = read.assign(why=read["reading_id"].map(standings(exposure, site)))
    require(len(read) > 0, "on", on, f"a day read at {site}; the latest: {', '.join(days[-5:])}")
    checked = checked or check(exposure, since=on)
    counted = values(exposure, site, on)
    lacking = missing(exposure, site, on)
    facts = (*_facts(exposure, site, on, read, lacking), *conditions(exposure, site, on))
    sections = (
        *([Section("Standing claims", (CLAIMS, *watch))] if watch else ()),
        _findings(exposure, checked, known, site, on), _missing(lacking),
        _events(exposure, site, on, days), _instruments(exposure, on, read),
        *_readings(counted, read),
    )  # fmt: skip
    named = exposure.sites.set_index("site")["name"].get(site)
    name = site if pd.isna(named) else f"{named} ({site})"
    return VisitReport(site, on, f"Visit to {name}, {on}", facts, sections,
                       _strip(counted, read), _photos(exposure, known, own, on))  # fmt: skip


def _facts(
    exposure: Exposure, site: str, on: str, read: pd.DataFrame, lacking: pd.DataFrame
) -> Iterator[tuple[str, str]]:
    plan = visit_plan(exposure, on)
    mine = plan[(plan["site"] == site) & (plan["opens_on"] <= on) & (plan["closes_on"] >= on)]
    stages = ", ".join(f"month {months:g}" for months in sorted(set(mine["months"])))
    names = exposure.operators.drop_duplicates("operator").set_index("operator")["name"]
    codes = sorted(read["operator"].dropna().unique())
    people = [name if pd.notna(name := names.get(one)) else one for one in codes]
    yield "Planned visit", stages or "outside the window of any planned visit"
    yield "Read by", ", ".join(people) or "not said"
    yield "Panels read", str(read["panel"].nunique())
    yield "Readings", str(len(read))
    yield "Not read in full", str(len(lacking))


def _readings(counted: pd.DataFrame, read: pd.DataFrame) -> Iterator[Section]:
    why = read.loc[read["why"] != "", "why"]
    out = (
        f"{count} readings {LEFT_OUT}: {reason}." for reason, count in why.value_counts().items()
    )
    notes = tuple(sorted(out))
    for name, some in counted.groupby("property", sort=False):
        prop = PROPERTIES[str(name)]
        ordinal = prop.scale == "ordinal"
        each: list[Any] = list(some.itertuples())
        rows = tuple(
            (row.formulation, row.surface_state.replace("_", " "), str(row.panels),
             _number(row.mean, prop), *(() if ordinal else (_number(row.sd, prop, 1),)),
             row.last_on or "-", _number(row.last_mean, prop), _number(row.change, prop, sign="+"))
            for row in each
        )  # fmt: skip
        heads = ("Formulation", "Surface", "Panels", "Median" if ordinal else "Mean",
                 *(() if ordinal else ("SD",)), "Last visit", "Then", "Change")  # fmt: skip
        yield Section(prop.label, notes, heads, rows, 2)
        notes = ()
    if notes:
        yield Section("Readings", notes)


def _number(value: float, prop: Property, more: int = 0, sign: str = "") -> str:
    places = prop.decimals + more
    return "-" if pd.isna(value) else f"{round(value, places) + 0.0:{sign}.{places}f}"


def _instruments(exposure: Exposure, on: str, read: pd.DataFrame) -> Section:
    log = calibrations(exposure, on).set_index("instrument")
    checks = exposure.instrument_checks[exposure.instrument_checks["at"].str[:10] == on]
    rows = []
    for instrument, some in read.groupby("instrument"):
        own, names = log.reindex([instrument]).iloc[0], set(some["property"])
        symbols = [prop.symbol for name, prop in PROPERTIES.items() if name in names]
        due = "not in the instrument log" if pd.isna(own["state"]) else str(own["state"])
        if pd.notna(own["calibration_due"]):
            due = f"{own['calibration_due']:%Y-%m-%d}, {due}"
        mine: list[Any] = list(checks[checks["instrument"] == instrument].itertuples())
        tile = ", ".join(map(_tile, sorted(mine, key=lambda one: one.at)))
        weightings = ", ".join(sorted(some["weighting"].dropna().unique())) or "-"
        serial = "-" if pd.isna(own["serial"]) else str(own["serial"])
        rows.append((str(instrument), serial, ", ".join(symbols), weightings, due, tile or "none"))
    heads = ("Instrument", "Serial", "Read", "Weighting", "Calibration due", "Tile checks")
    lines = () if rows else ("No reading names its instrument.",)
    return Section("Instruments", lines, heads, tuple(rows), len(heads))


def _tile(check: Any) -> str:
    off = "" if pd.isna(check.certified) else f" ({check.value - check.certified:+.3f})"
    return f"{check.stage} {check.value:.3f}{off}"


def _findings(exposure: Exposure, checked: Checked, known: Kept, site: str, on: str) -> Section:
    frame = checked.frame
    frame = frame[(frame["site"] == site) & (frame["read_on"].str[:10] == on)]
    log = known.settlements if len(known.settlements) else exposure.settlements
    last = {row["finding"]: row for _, row in log.iterrows()}
    rows = []
    for finding, some in frame.groupby("finding", sort=False):
        one, panels = some.iloc[0], some["panel"].dropna().unique()
        who = ", ".join(panels) if len(panels) <= MOST_NAMED else f"{len(panels)} panels"
        asks = one["severity"] in QUESTIONED or one["state"] != OPEN
        settled = _settled(one["state"] if asks else "good to know", last.get(finding))
        asked = f"{one['seen']} (allowed: {one['allowed']})"
        rows.append((who, str(one["what"]), asked, settled))
    ever = ever_read(exposure, known)
    mine = set(exposure.panels.loc[exposure.panels["site"] == site, "panel"])
    ever = ever[ever["panel"].isin(mine) & (ever["read_on"].str[:10] == on)]
    for old, new in ever.dropna(subset="supersedes").set_index("supersedes").iterrows():
        before = ever.loc[ever["reading_id"] == old, "value"]
        was = told(new["property"], before.iloc[0]) if len(before) else "another value"
        by = f"corrected to {told(new['property'], new['value'])}"
        rows.append((new["panel"], "was corrected", was, _settled(by, new)))
    heads = ("Panels", "Doubt", "Seen", "How it stands")
    lines = () if rows else ("Nothing asks for a second look.",)
    told_once = tuple(dict.fromkeys(rows))  # of several properties read alike
    return Section("Doubts and corrections", lines, heads, told_once, len(heads))


def _settled(state: str, facts: pd.Series | None) -> str:
    if facts is None:
        return state
    by, at = facts.get("recorded_by"), facts.get("recorded_at")
    who = f" by {by}" if isinstance(by, str) else ""
    when = f" on {at[:10]}" if isinstance(at, str) else ""
    return f"{state}{who}{when}: {facts['reason']}"


def _events(exposure: Exposure, site: str, on: str, days: list[str]) -> Section:
    before = max((day for day in days if day < on), default="")
    panels = set(exposure.panels.loc[exposure.panels["site"] == site, "panel"])
    events = exposure.events
    mine = events["panel"].isin(panels) | (events["panel"].isna() & (events["site"] == site))
    day = events["on"].str[:10]
    events = events[mine & (day > before) & (day <= on)].sort_values("on")
    rows = tuple(zip(events["on"].str[:16], events["kind"], events["panel"].fillna("the site"),
                     events["remark"].fillna(""), strict=True))  # fmt: skip
    lines = () if rows else ("None is logged.",)
    return Section("Since the visit before", lines, ("On", "What", "Where", "Remark"), rows, 4)


def _missing(lacking: pd.DataFrame) -> Section:
    rows = tuple(lacking.itertuples(index=False, name=None))
    lines = () if rows else ("Every panel that hung was read in full.",)
    return Section("Still missing", lines, ("Panel", "Formulation", "Place", "Lacks"), rows, 4)


def _strip(counted: pd.DataFrame, read: pd.DataFrame) -> Strip | None:
    means = counted[(counted["surface_state"] == "as_exposed")
                    & ~counted["formulation"].str.endswith(FILE)]  # fmt: skip
    names = [name for name in means["property"].unique() if PROPERTIES[name].scale != "ordinal"]
    if not names:
        return None
    prop, means = PROPERTIES[names[0]], means[means["property"] == names[0]]
    read = read[(read["property"] == names[0]) & (read["why"] == "")]
    read = read[read["surface_state"] == "as_exposed"]
    readings = read[read["formulation"].isin(means["formulation"])]
    change = means.set_index("formulation")["change"].dropna().sort_values()
    statement = f"{prop.label} of every panel as exposed; "
    if change.empty:
        statement += "no panel of these was read before."
    else:
        least, most = (f"{_number(change.iloc[end], prop, sign='+')} ({change.index[end]})"
                       for end in (0, -1))  # fmt: skip
        statement += f"since the visit before formulations moved by {least} to {most}."
    return Strip(prop, readings[["formulation", "panel", "value"]], means, statement)


def _photos(
    exposure: Exposure, known: Kept, panels: pd.DataFrame, on: str
) -> tuple[tuple[str, bytes], ...]:
    rows = exposure.photos[exposure.photos["panel"].isin(panels["panel"])]
    rows = rows[rows["taken_on"].str[:10] == on].sort_values(["panel", "photo"])
    if known.photos is None:
        return ()
    each: list[Any] = list(rows.itertuples())
    files = [(f"{row.panel}: {row.remark}" if isinstance(row.remark, str) else row.panel,
              file_of(known.photos, row.photo)) for row in each[:MOST_PHOTOS]]  # fmt: skip
    return tuple((caption, file.read_bytes()) for caption, file in files if file.is_file())
