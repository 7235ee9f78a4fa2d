"""A visit as it goes: one reading saved at a time, each once, whoever saves it and however often.

A reading goes through the rules of round files (`round_file`) and into the store under its token,
which is its reading_id. The token follows from store, panel, property, surface state, day, operator
and how many of these are stored: it is renewed by the commit and by nothing else, so that a second
tap, a page loaded anew and a lost link all come back with the token of the first.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import count
from typing import Any, Literal
from uuid import NAMESPACE_URL, uuid5

import pandas as pd

from aging.checks.ids import finding_id
from aging.errors import require
from aging.fieldwork.round_file import FORMAT, VERSION, read_round
from aging.fieldwork.round_sheet import RoundSheet, ToRead
from aging.ledger import Ledger
from aging.records import Exposure, Finding, Intake, exposure_with

SAME = ("value", "spot_values", "instrument", "method", "operator", "supersedes")
WITHDRAWN = "withdrawn"  # the rule under which a visit takes a reading back


@dataclass(frozen=True)
class Day:
    """What a day brought so far: readings that stand, every id recorded, and its other facts."""

    on: str
    readings: pd.DataFrame
    ids: frozenset[str]
    events: pd.DataFrame
    photos: pd.DataFrame

    def of(self, panel: str, name: str, state: str) -> pd.DataFrame:
        """Readings of a property on a panel in a surface state, the latest last."""
        rows = self.readings
        mine = (rows["panel"] == panel) & (rows["property"] == name)
        return rows[mine & (rows["surface_state"] == state)]


@dataclass(frozen=True)
class Saved:
    """What became of a reading.

    stored; already (it was); differs (its token holds `others`, read otherwise); asks (`others`
    were read today: is it another one or a correction?); refused (`findings` say why).
    """

    state: Literal["stored", "already", "differs", "asks", "refused"]
    reading_id: str
    others: pd.DataFrame
    findings: tuple[Finding, ...] = ()


def day_so_far(ledger: Ledger, on: str) -> Day:
    """Read what the store holds of a day, and photos of every day."""
    recorded = ledger.history(since=on)
    recorded = recorded[recorded["read_on"].str[:10] == on]
    facts = ledger.read(only=("settlements", "events", "photos"))
    last = facts.settlements.drop_duplicates("finding", keep="last")
    gone = set(last.loc[last["decision"] == "excluded", "reading_id"].dropna())
    gone |= set(recorded["supersedes"].dropna())
    standing = recorded[~recorded["reading_id"].isin(gone)]
    events = facts.events[facts.events["on"].str[:10] == on]
    return Day(on, standing, frozenset(recorded["reading_id"]), events, facts.photos)


def token_of(
    day: Day, store: str, panel: str, name: str, *, surface_state: str, operator: str
) -> str:
    """Token of the next reading of a property that an operator takes on a panel that day."""
    key = json.dumps([store, panel, name, surface_state, day.on, operator])
    tokens = (str(uuid5(NAMESPACE_URL, f"{key}/{number}")) for number in count())
    return next(token for token in tokens if token not in day.ids)


def save(
    ledger: Ledger, reading: Mapping[str, Any], token: str, *, known: Exposure,
    another: bool = False, beside: Mapping[str, Any] | None = None, day: Day | None = None,
) -> Saved:  # fmt: skip
    """Store one reading under its token, at most once.

    reading: columns of the readings sheet, as in a round file, and kept: questions answered.
    known: the store's panels. another: although the panel has one of that kind today; a correction
    (supersedes, reason) needs no such word. beside: further facts to keep with it. day: what the
    store holds of the reading's day, where it has just been read.
    """
    panel, on = reading["panel"], str(reading["read_on"])[:10]
    if day is None or day.on != on:
        day = day_so_far(ledger, on)
    others = day.of(panel, reading["property"], reading.get("surface_state") or "")
    corrects = bool(reading.get("supersedes"))
    if token not in day.ids and len(others) and not (another or corrects):
        return Saved("asks", token, others)
    read = _through_the_rules({**reading, "reading_id": token}, known)
    if read.blocked:
        return Saved("refused", token, others, read.findings)
    rows, by = read.exposure.readings, str(reading["operator"])
    if beside:
        more = (
            rows["extra"].fillna("{}").map(lambda text: json.dumps({**json.loads(text), **beside}))
        )
        rows = rows.assign(extra=more.astype("str"))
    receipts = ledger.append(replace(read.exposure, readings=rows), by=by, source="visit")
    receipt = next(one for one in receipts if one.sheet == "readings")
    if not receipt.refused:
        return Saved("stored" if receipt.stored else "already", token, others)
    there = ledger.history(since=on)
    there = there[there["reading_id"] == token]
    if there.empty:
        return Saved("refused", token, others, receipt.findings)
    same = rows[list(SAME)].fillna("").iloc[0].equals(there[list(SAME)].fillna("").iloc[0])
    return Saved("already" if same else "differs", token, there)


def _through_the_rules(reading: Mapping[str, Any], known: Exposure) -> Intake:
    panels = known.panels[known.panels["panel"] == reading["panel"]]
    file = {"format": FORMAT, "version": VERSION, "readings": [reading], "not_read": []}
    return read_round(
        json.dumps(file).encode(), replace(exposure_with("panels", []), panels=panels)
    )


def leave_out(ledger: Ledger, reading_id: str, *, reason: str, by: str) -> None:
    """Take a reading out of every series by decision; it stays stored. CallError without reason."""
    require(bool(reason.strip()), "reason", reason, "why it does not count")
    row = {"finding": finding_id(WITHDRAWN, reading_id), "rule": WITHDRAWN,
           "reading_id": reading_id, "decision": "excluded", "reason": reason.strip()}  # fmt: skip
    ledger.append(exposure_with("settlements", [row]), by=by, source="visit")


def cannot_read(
    ledger: Ledger, panel: str, reason: str, *, on: str, by: str, remark: str, known: Exposure
) -> tuple[Finding, ...]:
    """Store once a day that a panel was not read and why (`round_file.EVENTS`)."""
    row = {"panel": panel, "reason": reason, "at": on, "operator": by, "remark": remark}
    file = {"format": FORMAT, "version": VERSION, "readings": [], "not_read": [row]}
    read = read_round(json.dumps(file).encode(), known)
    if not read.blocked:
        ledger.append(read.exposure, by=by, source="visit")
    return read.findings


def progress(sheet: RoundSheet, day: Day) -> pd.DataFrame:
    """A row a panel in rack order: panel, rack, position, read, of (properties), state.

    state: to read, part, read, or not read (it was said that it could not be).
    """
    done = day.readings.groupby("panel")["property"].agg(set)
    gone = set(day.events["panel"].dropna())

    def row(panel: ToRead) -> tuple[str, str, str, int, int, str]:
        read, of = len(done.get(panel.panel, set()) & set(panel.properties)), len(panel.properties)
        state = "not read" if panel.panel in gone and not read else (
            "read" if read == of else "part" if read else "to read"
        )  # fmt: skip
        return panel.panel, panel.rack, panel.position, read, of, state

    columns = ["panel", "rack", "position", "read", "of", "state"]
    return pd.DataFrame(map(row, sheet.panels), columns=columns)
