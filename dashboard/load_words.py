"""What the page that loads files says."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from aging.ledger import Receipt
from aging.records import Finding, Intake
from aging.vocabulary import PROPERTIES
from dashboard.keeping_words import in_words

TITLE, LOOKING = "Load readings", "Looking at the files ..."
ABOUT = "You see what would be stored, and what would not and why, before anything is."
INTO, OPEN_STORE, NEW_STORE = "Into", "the store that is open", "a new store"
FILES = "CSV files, a workbook (.xlsx), a ZIP, or what a round sheet saved (.json)"
PATH = "Or a folder or file on this machine"
NEW_PLACE = "New store"
MATCH_HEADING = "What the headers mean"
REMEMBERED = "Known from an earlier load: {file}."
CONFIRM = "This is right, remember it"
CONFIRM_FIRST = "Tick above that it is right; then you see what would be stored."
MATCH_ABOUT = (
    "{file} has headers of its own. Look over what each means; a later file with the same headers "
    "is then read without asking."
)
SHEET, LEAVE_OUT = "This table is", "not to be loaded"
SHEETS = {
    "readings": "readings", "panels": "panels", "formulations": "formulations", "sites": "sites",
    "events": "events", "weather": "weather, day by day", LEAVE_OUT: LEAVE_OUT,
}  # fmt: skip
WEATHER = {
    "rain_mm": "rain, mm", "temperature_C": "air temperature, °C",
    "relative_humidity_pct": "relative humidity, %",
    "solar_MJ_m2": "radiant exposure, MJ/m2",
    "uv_MJ_m2": "UV radiant exposure, MJ/m2", "pm10_ug_m3": "particulate matter PM10, µg/m3",
}  # fmt: skip
SITE = "Site of all rows"
MEANING, UNIT, ORDER, STATE = "Meaning", "Unit", "Order of dates", "Surface"
NOTHING, AS_IT_IS = "leave out", "keep as a further fact"
OWN_UNIT, ISO, FROM_ROW = "its own unit", "year, month, day", "as the row says"
PERCENT = "These look like percentages: choose the unit %."
LACKING = "Nothing means {names} yet; without it no row can be stored."
DAY, OPERATOR, INSTRUMENT = "Day of all rows", "Who read, for all rows", "Instrument, for all rows"
DATES = "Dates such as 03/04/2025"
ORDERS = {"refuse": "cannot be told, refuse them", "day": "day first", "month": "month first"}
PREVIEW, PREVIEW_ROWS = "What would be stored", "The first {shown} of {count} readings"
FINDINGS, DOUBTS = "What would not be, and what is unusual", "Worth a second look once stored"
REFUSED, REFUSED_FILE = "Refused rows with reasons (CSV)", "refused.csv"
NOTES = "Notes"
BESIDES = {name: name for name in ("sites", "formulations", "panels", "events")}
BESIDES["weather"] = "days of weather"
NOTHING_NEW = "Every row is in the store already: there is nothing to store."
NO_ROWS = "No row can be stored; mend the file and bring it again."
BY = "Your name, for the record"
NEEDS_STORE = "The source that is open shows files; rows can be loaded into a store only."
DONE = "Loaded."
SEE, SEE_DOUBTS = "See what is exposed", "See what asks for a second look"
READING_COLUMNS = {
    "panel": "Panel", "read_on": "Read on", "label": "Property", "value": "Value",
    "surface_state": "Surface", "instrument": "Instrument", "operator": "Who",
    "remark": "Remark",
}  # fmt: skip
TALLY_COLUMNS = {
    "sheet": "Sheet", "rows": "Rows", "accepted": "Sound", "refused": "Refused",
}  # fmt: skip
FINDING_COLUMNS = {
    "severity": "Severity", "sheet": "File", "row": "Row", "column": "Column", "seen": "Seen",
    "allowed": "Allowed", "action": "What to do",
}  # fmt: skip
SEVERITIES = {"block": "refused", "confirm": "please confirm", "warn": "good to know"}
DOUBT_COLUMNS = {
    "panel": "Panel", "read_on": "Read on", "label": "Property", "seen": "Seen",
    "allowed": "Expected", "action": "What to do",
}  # fmt: skip


def meaning(name: str) -> str:
    """A meaning as people choose it: a property by its label, a column by its name."""
    if name in ("", "as it is"):
        return AS_IT_IS if name else NOTHING
    if name in PROPERTIES:
        return PROPERTIES[name].label
    return WEATHER.get(name) or name.replace("_", " ")


def under(name: str, cells: pd.Series) -> str:
    """A header with the first of what stands under it."""
    filled = cells[cells.str.strip() != ""].head(3).tolist()
    return f"{name}: {', '.join(filled)}" if filled else f"{name}: empty"


def readings(rows: pd.DataFrame, shown: int) -> pd.DataFrame:
    """The first rows as the table shows them, without columns in which nothing stands."""
    first = in_words(rows.head(shown)).replace("", None)
    return first[[name for name in READING_COLUMNS if first[name].notna().any()]].fillna("")


def doubts(found: pd.DataFrame) -> pd.DataFrame:
    """Doubts with their property named."""
    return found.assign(label=[PROPERTIES[one].label if one in PROPERTIES else ""
                               for one in found["property"]])  # fmt: skip


def findings(found: Sequence[Finding]) -> pd.DataFrame:
    """Findings as the table shows them, what is refused first."""
    frame = pd.DataFrame([vars(one) for one in found])
    frame["severity"] = frame["severity"].map(SEVERITIES)
    rank = frame["severity"].map({name: at for at, name in enumerate(SEVERITIES.values())})
    frame["row"] = frame["row"].astype("Int64")
    return frame.iloc[rank.argsort(kind="stable")]


def counted(read: Intake, new: int, already: int) -> str:
    """What a load would do with the readings."""
    lost = sum(one.refused for one in read.tallies)
    told = f"{_many(new, 'new reading')}, {already:,} in the store already"
    told += f", {_many(lost, 'row')} refused."
    facts = {BESIDES[name]: len(frame) for name, frame in read.exposure.frames()
             if name in BESIDES and len(frame)}  # fmt: skip
    more = ", ".join(f"{count:,} {name}" for name, count in facts.items())
    return f"{told} Besides: {more}." if more else told


def _many(count: int, name: str) -> str:
    return f"{count:,} {name}{'s' * (count != 1)}"


def to_store(new: int, facts: int) -> str:
    """What the button that stores does."""
    return f"Store {_many(new, 'reading') if new else _many(facts, 'fact')}"


def stored(receipt: Receipt) -> str:
    """What was done with the readings."""
    told = f"Stored {_many(receipt.stored, 'reading')}; {receipt.already:,} were there already"
    refused = f"; {receipt.refused:,} differ from what is stored and were refused"
    return told + (refused if receipt.refused else "") + "."


def conflict(one: Finding) -> str:
    """Why the store itself refused a row."""
    return f"{one.seen}; {one.allowed}; {one.action}."


def tallies(read: Intake) -> pd.DataFrame:
    """Rows by sheet."""
    rows: list[dict[str, Any]] = [vars(one) for one in read.tallies]
    return pd.DataFrame(rows)


def lacking(names: Sequence[str]) -> str:
    """What no header means yet."""
    return LACKING.format(names=", ".join(meaning(name).lower() for name in names))


def unit(name: str) -> str:
    """A unit as people choose it."""
    return name or OWN_UNIT


def order(name: str) -> str:
    """An order of dates as people choose it."""
    return name or ISO


def state(name: str) -> str:
    """A surface state as people choose it."""
    return name.replace("_", " ") or FROM_ROW
