"""What a visit brought: the facts of one site and day, worded for a reader (`report_pages` prints).

Readings are told as they were read: the mean of a formulation's panels with the standard deviation
between panels, a rating by its median. Change is that of the panels read both times. Nothing is
projected here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pandas as pd

from aging.checks import Checked, check
from aging.errors import require
from aging.fieldwork.instrument_log import calibrations
from aging.fieldwork.photos import file_of
from aging.fieldwork.plan import visit_plan
from aging.fieldwork.round_sheet import GONE
from aging.fieldwork.story import LEFT_OUT, Kept, standings, told
from aging.records import Exposure
from aging.vocabulary import PROPERTIES, Property

RAIN_DAYS, RAIN_MM = 30, 5.0
FILE = " (file specimens)"
VALUES = ("property", "formulation", "surface_state", "panels", "mean", "sd", "last_on",
          "last_mean", "change")  # fmt: skip
MISSING = ("panel", "formulation", "place", "lacks")
MOST_NAMED, MOST_PHOTOS = 6, 12
CAUTIONS = (
    "These are readings of our own panels at one site on one day: no projection, and no rating.",
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
    watch: lines about claims that this visit touches. CallError for a site or day without readings.
    """
    known = known or Kept()
    own = exposure.panels[exposure.panels["site"] == site]
    require(len(own) > 0, "site", site, sorted(exposure.panels["site"].unique()))
    here = _outdoors(exposure, site)
    days = sorted(here["day"].unique())
    read = here[here["day"] == on]
    read = read.assign(why=read["reading_id"].map(standings(exposure, site)))
    require(len(read) > 0, "on", on, f"a day read at {site}; the latest: {', '.join(days[-5:])}")
    checked = checked or check(exposure, since=on)
    counted = values(exposure, site, on)
    lacking = missing(exposure, site, on)
    facts = (*_facts(exposure, site, on, read, lacking), *conditions(exposure, site, on))
    sections = (
        *([Section("Claims to watch", tuple(watch))] if watch else ()),
        _findings(exposure, checked, known, site, on), _missing(lacking),
        _events(exposure, site, on, days), _instruments(exposure, on, read),
        *_readings(counted, read),
    )  # fmt: skip
    named = exposure.sites.set_index("site")["name"].get(site)
    name = site if pd.isna(named) else f"{named} ({site})"
    return VisitReport(site, on, f"Visit to {name}, {on}", facts, sections,
                       _strip(counted, read), _photos(exposure, known, own, on))  # fmt: skip


def _outdoors(exposure: Exposure, site: str) -> pd.DataFrame:
    facts = exposure.panels.loc[
        exposure.panels["site"] == site, ["panel", "formulation", "kind", "rack", "position"]
    ]
    rows = exposure.readings.merge(facts, on="panel")
    rows = rows[rows["evidence"].isna() | (rows["evidence"] == "outdoor")]
    filed = (rows["kind"] == "file_specimen").map({True: FILE, False: ""})
    return rows.assign(day=rows["read_on"].str[:10], formulation=rows["formulation"] + filed)


def values(exposure: Exposure, site: str, on: str) -> pd.DataFrame:
    """Mean (median of a rating) and spread of each property, formulation and state (VALUES).

    change: mean over panels read then and at the last day before, last_on, on which the formulation
    was read so. Readings that do not count for another reason than their state are left out.
    """
    rows = _outdoors(exposure, site)
    why = standings(exposure, site)
    rows = rows[rows["reading_id"].map(why) == ""]
    series = ["property", "formulation", "surface_state"]
    each = rows.groupby([*series, "panel", "day"], as_index=False)["value"].mean()
    found = []
    for key, some in each[each["day"] <= on].groupby(series, sort=False):
        table = some.pivot_table(index="panel", columns="day", values="value")
        if on not in table:
            continue
        ordinal = PROPERTIES[key[0]].scale == "ordinal"
        now, past = table[on].dropna(), table.drop(columns=on)
        last_on = past.columns[-1] if past.shape[1] else ""
        last = past[last_on].dropna() if last_on else now.iloc[:0]
        middle = "median" if ordinal else "mean"
        found.append((
            *key, len(now), now.agg(middle), float("nan") if ordinal else now.std(), last_on,
            last.agg(middle), (now - last).dropna().agg(middle),
        ))  # fmt: skip
    frame = pd.DataFrame(found, columns=list(VALUES))
    place = {name: at for at, name in enumerate(PROPERTIES)}
    return frame.sort_values(
        ["property", "surface_state", "formulation"], ignore_index=True,
        key=lambda column: column.map(place) if column.name == "property" else column,
    )  # fmt: skip


def missing(exposure: Exposure, site: str, on: str) -> pd.DataFrame:
    """Panels that hung on the day and were not read in full (MISSING).

    A panel lacks what others were read for that day and it was read for before; one never read
    lacks all.
    """
    gone = exposure.events[exposure.events["kind"].isin(GONE)].dropna(subset="panel")
    gone = gone[gone["on"].str[:10] <= on]
    panels = exposure.panels[exposure.panels["site"] == site]
    hung = panels[(panels["exposed_on"] <= on) & ~(panels["closed_on"] < on).fillna(value=False)]
    hung = hung[~hung["panel"].isin(gone["panel"])]
    rows = _outdoors(exposure, site)
    rows = rows[(rows["day"] <= on) & (rows["surface_state"] == "as_exposed")]
    today = rows[rows["day"] == on]
    asked = [name for name in PROPERTIES if (today["property"] == name).any()]
    before = rows[rows["day"] < on].groupby("panel")["property"].agg(set).to_dict()
    read = today.groupby("panel")["property"].agg(set).to_dict()
    found = []
    for panel, formulation, rack, position in hung[
        ["panel", "formulation", "rack", "position"]
    ].itertuples(index=False):
        lacks = (before.get(panel) or set(asked)) - read.get(panel, set())
        words = [PROPERTIES[name].label for name in asked if name in lacks]
        if words:
            place = " ".join(one for one in (rack, position) if pd.notna(one))
            lacked = ", ".join(words) if panel in read else "all of it"
            found.append((panel, formulation, place, lacked))
    return pd.DataFrame(found, columns=list(MISSING)).astype("str")


def conditions(exposure: Exposure, site: str, on: str) -> tuple[tuple[str, str], ...]:
    """Rain and temperature up to the day, as far as the sheet weather knows them, in words."""
    weather = exposure.weather[exposure.weather["site"] == site].sort_values("date")
    weather = weather[weather["date"] <= on]
    since = f"{pd.Timestamp(on) - pd.Timedelta(days=RAIN_DAYS):%Y-%m-%d}"
    rain = weather.dropna(subset="rain_mm")
    month = rain[rain["date"] > since]
    wet = rain.loc[rain["rain_mm"] >= RAIN_MM, "date"]
    warm = weather.loc[weather["date"] == on, "temperature_C"].dropna()
    few = f" (known on {len(month)} of {RAIN_DAYS} days)" if len(month) < RAIN_DAYS else ""
    fell = f"{month['rain_mm'].sum():.0f} mm{few}" if len(month) else "not known"
    ago = f"{(pd.Timestamp(on) - pd.Timestamp(wet.iloc[-1])).days} days" if len(wet) else "unknown"
    return (
        (f"Rain in {RAIN_DAYS} days", fell),
        (f"Since rain of {RAIN_MM:g} mm or more in a day", ago),
        ("Mean temperature of the day", f"{warm.iloc[0]:.0f} °C" if len(warm) else "not known"),
    )


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
        prop = PROPERTIES[name]
        ordinal = prop.scale == "ordinal"
        rows = tuple(
            (row.formulation, row.surface_state.replace("_", " "), str(row.panels),
             _number(row.mean, prop), *(() if ordinal else (_number(row.sd, prop, 1),)),
             row.last_on or "-", _number(row.last_mean, prop), _number(row.change, prop, sign="+"))
            for row in some.itertuples()
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
        symbols = [
            prop.symbol for name, prop in PROPERTIES.items() if name in set(some["property"])
        ]
        due, serial = "not in the instrument log", "-"
        if instrument in log.index:
            own = log.loc[instrument]
            day = f"{own['calibration_due']:%Y-%m-%d}" if pd.notna(own["calibration_due"]) else "-"
            due, serial = (
                f"{day}, {own['state']}",
                own["serial"] if pd.notna(own["serial"]) else "-",
            )
        mine = checks[checks["instrument"] == instrument].sort_values("at")
        tile = ", ".join(
            f"{stage} {value:.3f}" + (f" ({value - certified:+.3f})" if certified == certified else "")  # noqa: PLR0124, E501 - NaN
            for stage, value, certified in zip(mine["stage"], mine["value"], mine["certified"],
                                               strict=True)
        )  # fmt: skip
        weightings = ", ".join(sorted(some["weighting"].dropna().unique())) or "-"
        rows.append((str(instrument), serial, ", ".join(symbols), weightings, due, tile or "none"))
    heads = ("Instrument", "Serial", "Read", "Weighting", "Calibration due", "Tile checks")
    lines = () if rows else ("No reading names its instrument.",)
    return Section("Instruments", lines, heads, tuple(rows), len(heads))


def _findings(
    exposure: Exposure, checked: Checked, known: Kept, site: str, on: str
) -> Section:  # fmt: skip
    frame = checked.frame
    frame = frame[(frame["site"] == site) & (frame["read_on"].str[:10] == on)]
    log = known.settlements if len(known.settlements) else exposure.settlements
    last = log.drop_duplicates("finding", keep="last").set_index("finding")
    rows = []
    for finding, some in frame.groupby("finding", sort=False):
        one, panels = some.iloc[0], some["panel"].dropna().unique()
        who = ", ".join(panels) if len(panels) <= MOST_NAMED else f"{len(panels)} panels"
        settled = _settled(one["state"], last.loc[finding] if finding in last.index else None)
        asked = f"{one['seen']} (allowed: {one['allowed']})"
        rows.append((who, str(one["what"]), asked, settled))
    ever = known.readings if len(known.readings) else exposure.readings
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
        least, most = (f"{change.iloc[end]:+.{prop.decimals}f} ({change.index[end]})"
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
    files = [(row.panel, row.remark, file_of(known.photos, row.photo)) for row in rows.itertuples()]
    return tuple(
        (": ".join(filter(lambda one: isinstance(one, str), (panel, remark))), file.read_bytes())
        for panel, remark, file in files if file.is_file()
    )[:MOST_PHOTOS]  # fmt: skip
