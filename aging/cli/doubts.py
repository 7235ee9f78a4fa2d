"""Readings that ask for a second look: found, listed for the person who keeps them, settled."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
from rich.console import Console
from rich.padding import Padding

from aging.checks import OPEN, QUESTIONED, RULES, Checked, check, own_limits, settle
from aging.cli import findings, output
from aging.cli.sources import one_source
from aging.errors import CallError
from aging.projection import gather
from aging.records import Exposure, Intake
from aging.source import is_store, open_source
from aging.vocabulary import PROPERTIES

HEADINGS = {
    "block": "Cannot stand as it is: correct it, exclude it, or confirm it with a reason",
    "confirm": "Please confirm with a reason, or correct",
    "warn": "Please look again",
    "info": "Good to know",
}
MEASURED = "solar_reflectance"  # named only where something else was read
NAMED, LISTED = 3, 20


def checked_source(
    source: str | None,
    store: str | None,
    *,
    site: str | None,
    since: str | None,
    every: bool,
    projection: bool,
    limits: Path | None,
    day_first: bool | None,
    json: str | None,
) -> int:
    """Show what intake and the rules find in a source; 1 where anything of it blocks."""
    name = one_source(source, store)
    read = None if store is not None or is_store(name) else _intake(name, day_first)
    exposure = open_source(name) if read is None else read.exposure
    if site is not None and site not in set(exposure.panels["site"]):
        known = ", ".join(sorted(exposure.panels["site"].unique()))
        raise CallError(f"--site: no panel stands at {site!r}; sites: {known}")
    with output.progress("checking"):
        found = looked(exposure, name, since=since, projection=projection, limits=limits)
    rows = found.frame if every else found.open
    rows = rows if site is None else rows[rows["site"] == site]
    told = {"doubts": rows} if read is None else {
        "tallies": read.tallies, "findings": read.findings, "notes": read.notes, "doubts": rows,
    }  # fmt: skip

    def show() -> None:
        if read is not None:
            findings.show(read, name)
        _show(output.screen(), rows, found)

    output.give(json, told, show)
    blocks = rows[rows["state"] == OPEN]["severity"].eq("block").any()
    return int((read is not None and read.blocked) or blocks)


def looked(
    exposure: Exposure, name: str, *, since: str | None, projection: bool, limits: Path | None
) -> Checked:
    """A check of a source of that name, by its own limits where none are given."""
    try:
        day = None if since is None else pd.Timestamp(since)
    except ValueError:
        raise CallError(f"--since: {since!r} is no date; give it as YYYY-MM-DD") from None
    gathered = gather(exposure) if projection else None
    return check(exposure, gathered=gathered, since=day, limits=limits or own_limits(name))


def settled(
    store: str, finding: str, decision: str, *, reason: str, by: str, value: float | None
) -> int:
    """Settle a finding of a store and return of how many readings."""
    from aging.ledger import open_ledger

    with open_ledger(store) as book, output.progress("settling"):
        exposure = book.read()
        found = looked(exposure, store, since=None, projection=False, limits=None)
        if finding not in set(found.frame["finding"]):  # it may be one of the projection
            first = str(exposure.readings["read_on"].min())[:10]
            found = looked(exposure, store, since=first, projection=True, limits=None)
        return settle(book, found, finding, decision, reason=reason, by=by, value=value)


def _intake(name: str, day_first: bool | None) -> Intake:
    from aging import intake

    return intake.read(Path(name), day_first=day_first)


def _show(console: Console, rows: pd.DataFrame, found: Checked) -> None:
    for severity, heading in HEADINGS.items():
        mine = rows[rows["severity"] == severity]
        if len(mine):
            console.print(f"\n{heading}", style="bold")
        for rule, of_rule in mine.groupby("rule", sort=False):
            told = RULES.loc[str(rule)]
            console.print(f"  {told['what']}: {told['action']}  [{rule}]", soft_wrap=False)
            each = [part for _, part in of_rule.groupby("finding", sort=False)]
            for part in each[:LISTED]:
                _indent(console, _line(part))
            if len(each) > LISTED:
                _indent(console, f"and {len(each) - LISTED} more (--json lists all)")
    asks = rows["severity"].isin(QUESTIONED) & (rows["state"] == OPEN)
    count = rows.loc[asks, "finding"].nunique()
    console.print(f"\n{count or 'No'} finding{'s' * (count != 1)} open.")
    if count:
        console.print("aging settle STORE FINDING settles one, by the id it begins with.")
    more = len(found.frame["finding"].unique()) - rows["finding"].nunique()
    if more:
        console.print(f"Not shown: {more} settled, elsewhere or only good to know (--all).")


def _line(part: pd.DataFrame) -> str:
    first = part.iloc[0]
    panels = part["panel"].dropna().unique()
    who = " and ".join(panels) if len(panels) <= NAMED else f"{first['site']}, {len(part)} readings"
    when = str(first["read_on"])[:10]
    if first["property"] != MEASURED:
        when += f", {PROPERTIES[first['property']].within}"
    state = "" if first["state"] == OPEN else f" - {first['state']}"
    said = f"{first['seen']} (allowed: {first['allowed']}){state}"
    return f"{first['finding']}  {who}, {when}: {said}"


def _indent(console: Console, text: str) -> None:
    console.print(Padding(text, (0, 0, 0, 6), expand=False))
