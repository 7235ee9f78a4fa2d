"""The round file: what a round sheet hands in, through the same rules as any other readings.

A round file, version 1, is UTF-8 JSON of at most 8 MB and 20,000 readings:

    {"format": "round-file", "version": 1,
     "sheet": {"sheet_id": "AMARO/2026-04-03/1f0c2d3e", "site": "AMARO", "on": "2026-04-03"},
     "exported_at": "2026-04-03T15:02:11.402Z",
     "readings": [...], "not_read": [...]}

A reading has the columns COLUMNS of the readings sheet, in the property's own unit. Its reading_id
is a UUID, so that a file may come in as often as it likes; read_on is local, to the minute;
surface_state and surface_wetness are filled. value is the mean of the list spot_values, spot_sd its
sample standard deviation, spots its length; a rating has none of the three. Beside these,
contaminated_spot_values lists spots that do not count, edited counts changes before handing in,
kept lists {"rule", "reason"} of questions that the technician answered, and entry is the sheet's
own memory, which is not read here. A panel that was not read has panel, reason (lost, damaged, not
found), at, operator and remark; it becomes an event, and lost ends its series.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from aging.checks.ids import finding_id
from aging.errors import SourceError
from aging.intake.columns import read_columns
from aging.intake.desk import Desk
from aging.intake.raw import Raw, shown
from aging.intake.readings import check_readings
from aging.intake.rows import named, repeats
from aging.records import SHEETS, Exposure, Intake, empty_frame

FORMAT, VERSION = "round-file", 1
MOST_BYTES, MOST_READINGS, LONGEST_TEXT = 8_000_000, 20_000, 2_000
COLUMNS = (
    "reading_id", "panel", "property", "value", "spot_values", "spot_sd", "spots", "read_on",
    "surface_state", "surface_wetness", "method", "instrument", "weighting", "illuminant",
    "observer_deg", "geometry", "blister_frequency", "operator", "remark", "supersedes", "reason",
)  # fmt: skip
OF_PANELS = ("panel", "formulation", "site", "exposed_on", "kind", "closed_on")
BESIDE = ("contaminated_spot_values", "edited", "kept")
EVENTS = {"lost": "loss", "damaged": "other", "not found": "other"}
SETTLED = ("fell-fast", "rose", "above-new", "like-washed", "spots", "wet-surface")
UUID = "[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}"
ROUNDING = 1e-9
_SURROGATE = re.compile("[\ud800-\udfff]")


def read_round(source: str | Path | bytes, known: Exposure) -> Intake:
    """Read a round file and check it against the panels of a store.

    Readings may come in again: their ids tell them apart. Events and answers to questions that
    `known` has already are left out, for what was decided since stands. Row numbers of findings
    count the readings of the file from 1. SourceError where the file is no whole round file.
    """
    name = "round file" if isinstance(source, bytes) else shown(Path(source).name)
    file = _opened(source, name)
    rows, gone = (_listed(file, part, name) for part in ("readings", "not_read"))
    desks = [_readings(rows, name, known)]
    sheets = {sheet: empty_frame(sheet) for sheet in SHEETS} | {"readings": desks[0].frame()}
    if gone:
        desks.append(_not_read(gone, name, known))
    if told := _answers(rows, set(sheets["readings"]["reading_id"])):
        desks.append(_settled(told, name))
    for desk in desks[1:]:
        sheet = desk.raw.sheet
        sheets[sheet] = _new(desk, getattr(known, sheet))
    return Intake(
        Exposure(**sheets),
        tuple(finding for desk in desks for finding in desk.in_order()),
        tuple(desk.tally() for desk in desks),
    )


def _opened(source: str | Path | bytes, name: str) -> dict[str, Any]:
    again = "save it anew on the phone's sheet"
    if isinstance(source, bytes):
        size, data = len(source), source
    else:
        try:
            size = Path(source).stat().st_size
            data = Path(source).read_bytes() if size <= MOST_BYTES else b""
        except OSError as error:
            raise SourceError(f"{source}: cannot be read ({error.strerror})") from error
    if size > MOST_BYTES:
        raise SourceError(f"{name}: {size} bytes; at most {MOST_BYTES}; {again}")
    try:
        file = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise SourceError(f"{name}: no whole JSON file ({error}); {again}") from error
    seen = (file.get("format"), file.get("version")) if isinstance(file, dict) else type(file)
    if seen != (FORMAT, VERSION):
        raise SourceError(
            f"{name}: {shown(str(seen))} is no {FORMAT} of version {VERSION}; give the file that "
            "the sheet saved"
        )
    return dict(file)


def _listed(file: dict[str, Any], part: str, name: str) -> list[dict[str, Any]]:
    """A list of the file; what is no object in it stands as one whose panel cannot be."""
    rows = file.get(part)
    if not isinstance(rows, list) or len(rows) > MOST_READINGS:
        seen = f"{len(rows)} entries" if isinstance(rows, list) else type(rows).__name__
        raise SourceError(
            f"{name}: {part}: {seen}; a list of at most {MOST_READINGS}; save the file anew"
        )
    return [row if isinstance(row, dict) else {"panel": shown(json.dumps(row))} for row in rows]


def _cell(value: object) -> str:
    """A value as the text that intake reads; what intake cannot read stays recognisable."""
    if value is None:
        return ""
    if isinstance(value, str):
        return _SURROGATE.sub("\0", value)
    if isinstance(value, list) and not any(isinstance(one, list | dict) for one in value):
        return " ".join(map(_cell, value))
    return json.dumps(value)


def _desk(sheet: str, name: str, rows: Sequence[dict[str, Any]], columns: Sequence[str]) -> Desk:
    """Rows read column by column as those of any sheet, with what makes a text too long.

    A column without a single cell is not laid down, unless it must be filled: most are so where a
    visit saves one reading.
    """
    told = {column: [_cell(row.get(column)) for row in rows] for column in columns}
    must = [column.name for column in SHEETS[sheet].columns if column.required]
    cells = {column: texts for column, texts in told.items() if column in must or any(texts)}
    index = pd.RangeIndex(1, len(rows) + 1)
    raw = Raw(sheet, name, pd.DataFrame(cells, index=index, dtype="str"))
    desk = read_columns(raw, day_first=None, today=datetime.now(tz=UTC).date())
    for column in cells:
        long = (raw.cells[column].str.len() > LONGEST_TEXT).to_numpy(bool)
        desk.flag("bad-text", long, column, f"at most {LONGEST_TEXT} characters", "shorten it")
    return desk


def _new(desk: Desk, there: pd.DataFrame) -> pd.DataFrame:
    """Accepted rows whose key is not there yet."""
    rows, key = desk.frame(), list(SHEETS[desk.raw.sheet].key)
    return rows[~pd.MultiIndex.from_frame(rows[key]).isin(pd.MultiIndex.from_frame(there[key]))]


def _readings(rows: list[dict[str, Any]], name: str, known: Exposure) -> Desk:
    rows = [{**row, "kept": json.dumps(row["kept"]) if row.get("kept") else None} for row in rows]
    desk = _desk("readings", name, rows, (*COLUMNS, *BESIDE))
    _as_handed_in(desk)
    hung = known.panels[list(OF_PANELS)].astype("str").fillna("")
    today = datetime.now(tz=UTC).date()
    panels = read_columns(Raw("panels", "the store", hung), day_first=None, today=today)
    check_readings(desk, panels)
    repeats(desk)
    return desk


def _as_handed_in(desk: Desk) -> None:
    """What holds for round files beyond the rules of any readings."""
    anew = "save the file anew on the phone's sheet"
    for column in ("reading_id", "surface_state", "surface_wetness"):
        empty = desk.columns[column].isna().to_numpy()
        action = "choose it on the sheet" if column != "reading_id" else anew
        desk.flag("missing-value", empty, column, "a filled cell", action)
    ids = desk.columns["reading_id"]
    odd = ids.notna() & ~ids.fillna("").str.fullmatch(UUID)
    desk.flag("not-allowed", odd.to_numpy(bool), "reading_id", "a UUID in small letters", anew)
    wet = (desk.columns["surface_wetness"] == "wet").to_numpy()
    desk.flag(
        "not-allowed", wet, "surface_wetness", "dry; damp with a reason", "read it again when dry"
    )
    lists = [list(map(float, one.split())) for one in desk.columns["spot_values"].fillna("")]
    mean = np.array([sum(one) / len(one) if one else np.nan for one in lists])
    off = np.abs(desk.columns["value"] - mean) > ROUNDING
    desk.flag(
        "not-allowed", off, "value", [f"{one:g}, the mean of spot_values" for one in mean[off]],
        "give the file as the sheet saved it",
    )  # fmt: skip


def _not_read(rows: list[dict[str, Any]], name: str, known: Exposure) -> Desk:
    told = [
        {
            "on": row.get("at"),
            "kind": EVENTS.get(_cell(row.get("reason")), f"not read: {_cell(row.get('reason'))}"),
            "panel": row.get("panel"),
            "remark": ": ".join(filter(None, (_cell(row.get(n)) for n in ("reason", "remark")))),
            "operator": row.get("operator"),
        }
        for row in rows
    ]
    columns = ("on", "kind", "panel", "remark", "operator")
    desk = _desk("events", f"{name}, not read", told, columns)
    empty = desk.columns["panel"].isna().to_numpy()
    desk.flag("missing-value", empty, "panel", "a panel", "name it")
    named(desk, "panel", known.panels["panel"], "unknown-panel")
    repeats(desk)
    return desk


def _answers(rows: list[dict[str, Any]], accepted: set[str]) -> list[dict[str, Any]]:
    """Questions answered on the spot, settled for the rules that would ask them again."""
    return [
        {"rule": one["rule"], "reading_id": _cell(row["reading_id"]), "reason": one.get("reason"),
         "finding": finding_id(one["rule"], _cell(row["reading_id"])), "decision": "confirmed"}
        for row in rows if _cell(row.get("reading_id")) in accepted
        for one in (row["kept"] if isinstance(row.get("kept"), list) else ())
        if isinstance(one, dict) and one.get("rule") in SETTLED
    ]  # fmt: skip


def _settled(told: list[dict[str, Any]], name: str) -> Desk:
    desk = _desk("settlements", f"{name}, kept", told, SHEETS["settlements"].names)
    repeats(desk)
    return desk
