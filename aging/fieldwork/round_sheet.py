"""The round sheet: what one visit at one site has to read, and as one HTML file for a phone.

The file needs no network and asks for none. What is typed into it stays in the browser until it is
handed in as a round file (`aging.fieldwork.round_file`).
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from aging.checks import limits_with, simple_limits
from aging.checks.table import MEASURED, NEW_MONTHS, happened
from aging.conditions import comparable
from aging.cube import moments
from aging.errors import require
from aging.fieldwork.paper import TEMPLATES, pages
from aging.records import Exposure
from aging.vocabulary import (
    BLISTER_FREQUENCIES,
    DAYS_PER_MONTH,
    METHODS,
    PROPERTIES,
    SURFACE_STATES,
    WETNESS,
    Property,
)

SCRIPTS = ("keep.js", "judge.js", "parts.js", "views.js", "panel.js", "hand_in.js")
RIG = ("instrument", "weighting", "illuminant", "observer_deg", "geometry")
USUAL_SPOTS, MOST_SPOTS, MOST_RIGS = 3, 12, 8
GONE = ("loss", "retrieve", "replace")
CAUTIONS = (
    "Never alone on a roof. Stay 2 m from edges and skylights, or be tied on.",
    "Stop for wind above 10 m/s, lightning, frost and ice. White coatings are slippery when wet.",
    "Do not read in dew or on a wet panel: you may slip, and the value is wrong.",
    "Dark glasses and sun cream: the roof sends the sun up at you. Drink; rest in the shade.",
    "Racks get hotter than 70 °C and edges cut: wear gloves, which keep the panels clean too.",
    "Wash nothing unless the plan says so.",
)  # our own words; the practice behind them is the trade's


@dataclass(frozen=True)
class Earlier:
    """Last unwashed reading of a property on a panel: value, ISO date, months before the round.

    initial: value when new, if it was read. rain_mm, washed: what came since, None where unknown.
    """

    value: float
    on: str
    gap: float
    initial: float | None
    rain_mm: float | None
    washed: bool


@dataclass(frozen=True)
class ToRead:
    """One panel of the round: what to read, what it read last, how long it hangs.

    months: None for a file specimen. alike: the same number of panels that are replicates of each
    other, which names no formulation to who reads blind.
    """

    panel: str
    rack: str
    position: str
    kind: str
    months: float | None
    properties: tuple[str, ...]
    earlier: Mapping[str, Earlier]
    alike: int


@dataclass(frozen=True)
class Asked:
    """One property of the round; `steps` are those of a rating, `methods` its letters."""

    name: str
    label: str
    unit: str
    decimals: int
    steps: tuple[float, ...]
    methods: tuple[str, ...]
    method: str
    spots: int
    limits: Mapping[str, object]


@dataclass(frozen=True)
class Rig:
    """Properties that are read with the same instruments; options (columns RIG), newest first."""

    properties: tuple[str, ...]
    options: tuple[Mapping[str, str | float], ...]


@dataclass(frozen=True)
class RoundSheet:
    """All that a round at a site on a day asks for, panels in the order in which they hang."""

    sheet_id: str
    site: str
    site_name: str
    on: str
    panels: tuple[ToRead, ...]
    properties: tuple[Asked, ...]
    rigs: tuple[Rig, ...]
    operators: tuple[str, ...]
    operator: str


def round_sheet(
    exposure: Exposure,
    site: str,
    on: str,
    *,
    properties: Sequence[str] = (),
    operator: str = "",
    limits: str | Path | pd.DataFrame | None = None,
) -> RoundSheet:
    """Lay out the round at `site` on the day `on` (YYYY-MM-DD).

    properties: what to read; all that the panels were read for, else solar reflectance. limits: a
    site's own (`aging.checks.limits`). CallError for an unknown site or property, a wrong date, and
    where no panel hangs on that day.
    """
    require(_is_day(on), "on", on, "a date such as 2026-04-03")
    known = exposure.panels["site"].drop_duplicates().tolist()
    require(site in known, "site", site, known)
    wrong = [name for name in properties if name not in PROPERTIES]
    require(not wrong, "properties", ", ".join(wrong), PROPERTIES)
    panels = _hanging(exposure, site, on)
    require(len(panels) > 0, "on", on, f"a day on which a panel hangs at {site}")
    readings = _before(exposure, panels, on)
    read = [name for name in PROPERTIES if (readings["property"] == name).any()]
    names = tuple(properties) or tuple(read) or (MEASURED,)
    last = readings[readings["property"].isin(names)]
    last = last[last["surface_state"].fillna("as_exposed") == "as_exposed"]
    earlier = _earlier(exposure, site, on, last)
    who = [*exposure.operators["operator"], *readings["operator"].dropna()]
    named = exposure.sites.loc[exposure.sites["site"] == site, "name"].dropna()
    digest = hashlib.sha256("\n".join(sorted(panels["panel"])).encode()).hexdigest()[:8]
    own = simple_limits(site, limits)
    still = limits_with(limits).value("file-specimens", "warn", site)
    own[MEASURED]["still"] = still  # what a file specimen may move
    of_kind = {kind: _of_kind(kind, names, readings) for kind in panels["kind"].unique()}
    return RoundSheet(
        f"{site}/{on}/{digest}", site, next(iter(named), site), on,
        tuple(
            ToRead(
                row["panel"], row["rack"], row["position"], row["kind"],
                None if row["kind"] == "file_specimen" else _months(row["exposed_on"], on),
                of_kind[row["kind"]], earlier.get(row["panel"], {}),
                int(row["alike"]),
            )
            for row in panels.to_dict("records")
        ),
        tuple(_asked(PROPERTIES[name], readings, own[name]) for name in names),
        _rigs(exposure, readings, names), tuple(sorted({*who} - {operator})), operator,
    )  # fmt: skip


def html(sheet: RoundSheet) -> str:
    """The sheet as one HTML file: all of it inside, and nothing outside is ever asked for."""
    from aging.charts.style import GRID, INK, MUTED, PAGE, PALETTE

    colours = {"page": PAGE, "ink": INK, "muted": MUTED, "grid": GRID, "main": PALETTE[0],
               "ask": PALETTE[1], "stop": PALETTE[5]}  # fmt: skip
    root = "".join(f"--{name}:{colour};" for name, colour in colours.items())
    style = f":root{{{root}}}\n{_text('round.css')}"
    script = "\n".join(map(_text, SCRIPTS))
    known = pages()
    known.policies["json.dumps_kwargs"] = {"allow_nan": False, "ensure_ascii": False}
    words = {
        "states": SURFACE_STATES, "wetness": WETNESS, "blister_frequencies": BLISTER_FREQUENCIES,
    }  # fmt: skip
    return known.get_template("round.html").render(
        sheet=sheet, facts={**asdict(sheet), **words}, cautions=CAUTIONS, style=style,
        script=script, allowed={"style": _fingerprint(style), "script": _fingerprint(script)},
    )  # fmt: skip


def _text(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8")


def _fingerprint(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _is_day(text: str) -> bool:
    return bool(re.fullmatch(r"\d{4}-\d\d-\d\d", text)) and pd.notna(
        pd.to_datetime(text, format="%Y-%m-%d", errors="coerce")
    )


def _months(start: str, end: str) -> float:
    days = (pd.Timestamp(end) - pd.Timestamp(start[:10])).days
    return round(days / DAYS_PER_MONTH, 2)


def _natural(text: str) -> list[str | int]:
    parts = re.split(r"(\d+)", text)
    return [int(part) if place % 2 else part for place, part in enumerate(parts)]


def _hanging(exposure: Exposure, site: str, on: str) -> pd.DataFrame:
    """Panels to read that day: file specimens, then by rack and position, numbers as numbers."""
    panels = exposure.panels[exposure.panels["site"] == site]
    gone = exposure.events[exposure.events["kind"].isin(GONE) & (exposure.events["on"] < on)]
    filed = panels["kind"] == "file_specimen"
    there = (filed | (panels["exposed_on"].str[:10] <= on)) & ~(panels["closed_on"].str[:10] < on)
    panels = panels[there & ~panels["panel"].isin(gone["panel"].dropna())]
    panels = panels.assign(**{name: panels[name].fillna("") for name in ("rack", "position")})
    order = sorted(
        panels.to_dict("records"),
        key=lambda row: (
            row["kind"] != "file_specimen",
            *(_natural(row[name]) for name in ("rack", "position", "panel")),
        ),
    )
    found = pd.DataFrame(order, columns=panels.columns)
    return found.assign(
        alike=found.groupby(["kind", "formulation", "exposed_on"], dropna=False).ngroup()
    )


def _before(exposure: Exposure, panels: pd.DataFrame, on: str) -> pd.DataFrame:
    """Accepted readings of the panels before the day, oldest first, with their moment `at`."""
    readings = comparable(exposure)[0]
    readings = readings[readings["panel"].isin(panels["panel"]) & (readings["read_on"] < on)]
    readings = readings.assign(at=moments(readings["read_on"]))
    facts = panels[["panel", "kind", "exposed_on"]]
    return readings.sort_values("at").merge(facts, on="panel")


def _of_kind(kind: str, names: Sequence[str], readings: pd.DataFrame) -> tuple[str, ...]:
    """What to read on a kind of panel: file specimens have never chalked."""
    read = readings.loc[readings["kind"] == kind, "property"].unique()
    new = set(names) - set(readings["property"])
    return tuple(name for name in names if name in read or name in new) or tuple(names)


def _earlier(
    exposure: Exposure, site: str, on: str, readings: pd.DataFrame
) -> dict[str, dict[str, Earlier]]:
    age = (readings["at"] - moments(readings["exposed_on"])).dt.days / DAYS_PER_MONTH
    key = ["panel", "property"]
    new = readings[(age <= NEW_MONTHS) & (readings["kind"] != "file_specimen")]
    initial = new.groupby(key)["value"].first()
    last = readings.drop_duplicates(key, keep="last").assign(site=site, day=pd.Timestamp(on))
    last["washed"] = happened(exposure, ("wash",), last, last["at"].dt.normalize())
    weather = exposure.weather[exposure.weather["site"] == site].dropna(subset=["rain_mm"])
    found: dict[str, dict[str, Earlier]] = {}
    for row in last.to_dict("records"):
        day, name = row["read_on"][:10], (row["panel"], row["property"])
        rain = weather.loc[(weather["date"] > day) & (weather["date"] <= on), "rain_mm"]
        found.setdefault(row["panel"], {})[row["property"]] = Earlier(
            float(row["value"]), day, _months(day, on),
            float(initial[name]) if name in initial.index else None,
            float(rain.sum()) if len(rain) else None, bool(row["washed"]),
        )  # fmt: skip
    return found


def _asked(prop: Property, readings: pd.DataFrame, limits: Mapping[str, object]) -> Asked:
    mine = readings[readings["property"] == prop.name]
    rated = prop.scale == "ordinal"
    count = round((prop.high - prop.low) / prop.step) if rated else -1
    spots = mine["spots"].dropna()
    usual = int(spots.iloc[-1]) if len(spots) else USUAL_SPOTS
    methods = METHODS.get(prop.name, ())
    used = mine.loc[mine["method"].isin(methods), "method"]
    return Asked(
        prop.name, prop.label, prop.unit if prop.unit not in ("1", "rating") else "", prop.decimals,
        tuple(prop.low + place * prop.step for place in range(count + 1)), methods,
        next(iter(used[::-1]), ""), min(usual, MOST_SPOTS), limits,
    )  # fmt: skip


def _rigs(exposure: Exposure, readings: pd.DataFrame, names: Sequence[str]) -> tuple[Rig, ...]:
    """Instruments by property, those that offer the same together; ratings need none.

    One that has only read other properties is not offered.
    """
    read = exposure.readings[["instrument", "property"]].drop_duplicates()
    ever = read.groupby("instrument")["property"].agg(set)
    shelf = exposure.instruments[["instrument", "weighting"]].to_dict("records")
    alike: dict[tuple[tuple[tuple[Hashable, Any], ...], ...], list[str]] = {}
    for name in names:
        if PROPERTIES[name].scale == "ordinal":
            continue
        used = readings.loc[readings["property"] == name, list(RIG)][::-1].drop_duplicates()
        used = used[used["instrument"].notna()]
        other = [one for one in shelf if one["instrument"] not in set(used["instrument"])
                 and name in ever.get(one["instrument"], {name})]  # fmt: skip
        options = tuple(
            tuple((column, value) for column, value in one.items() if pd.notna(value))
            for one in [*used.to_dict("records"), *other][:MOST_RIGS]
        )
        alike.setdefault(options, []).append(name)
    return tuple(
        Rig(tuple(of), tuple({str(column): value for column, value in one} for one in options))
        for options, of in alike.items()
    )
