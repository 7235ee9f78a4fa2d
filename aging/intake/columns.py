"""Rules that hold for any sheet, from its table of columns: filled, typed, allowed, in range."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd

from aging.intake.cells import NOTHING, Words, dates, lists, numbers
from aging.intake.desk import Desk, missing
from aging.intake.extra import extra
from aging.intake.raw import Raw, plain
from aging.records import SHEETS, Column

FREE_TEXT = ("name", "climate", "description", "remark", "reason", "wording", "criterion")
AHEAD = ("calibration_due",)  # days that are meant to come
LONGEST_IDENTIFIER = 200
_UNSEEN = "[\x00-\x1f\x7f-\x9f\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff]"
_CONTROL = "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]"
_EARLIEST = np.datetime64("1950-01-01")


def read_columns(raw: Raw, *, day_first: bool | None, today: date) -> Desk:
    """Read and check every column of a sheet by itself."""
    desk = Desk(raw)
    day_first = day_first if raw.day_first is None else raw.day_first
    for column in SHEETS[raw.sheet].columns:
        if raw.broken or column.name not in raw.cells:
            _absent(desk, column)
            continue
        found = desk.read_words(column.name)
        if column.kind not in {"text", "list"}:
            found = _opened(desk, column, found)
        if column.required:
            desk.flag(
                "missing-value", found.rows(found.text == ""), column.name, "a filled cell",
                "fill the cell or remove the row",
            )  # fmt: skip
        if column.kind == "text":
            _text(desk, column, found)
        elif column.kind == "number":
            _number(desk, column, found)
        elif column.kind == "list":
            _list(desk, column, found)
        else:
            _date(desk, column, found, day_first, np.datetime64(today, "D"))
    if raw.sheet == "panels":
        desk.columns["kind"] = desk.columns["kind"].fillna("exposed")
    desk.columns["extra"] = missing(desk.size) if raw.broken else extra(desk)
    return desk


def _absent(desk: Desk, column: Column) -> None:
    number = column.kind == "number"
    desk.columns[column.name] = np.full(desk.size, np.nan) if number else missing(desk.size)
    if column.kind in ("date", "moment"):
        desk.days[column.name] = np.full(desk.size, np.datetime64("NaT"), "datetime64[D]")
    if column.required and not desk.raw.broken:
        have = ", ".join(map(str, desk.raw.cells.columns))
        desk.block("missing-column", column.name, have, column.name, "add the column")


def _opened(desk: Desk, column: Column, found: Words) -> Words:
    """Take the usual words for "nothing" in number and date cells as empty cells."""
    nothing = found.text.str.lower().isin(NOTHING)
    if nothing.any():
        count = int(found.rows(nothing).sum())
        seen = ", ".join(sorted(set(found.text[nothing])))
        desk.notes.append(f"{desk.raw.file}: {column.name}: taken as empty: {count} ({seen})")
        found = replace(found, text=found.text.mask(nothing, ""))
        desk.words[column.name] = found
    return found


def _text(desk: Desk, column: Column, found: Words) -> None:
    text, name = found.text, column.name
    if column.allowed:
        own = {plain(word): word for word in column.allowed}
        text = pd.Series([own.get(plain(word), word) for word in text], dtype="str")
        desk.words[name] = found = replace(found, text=text)
        code = "unknown-property" if name == "property" else "not-allowed"
        bad = ~text.isin((*column.allowed, ""))
        desk.flag(code, found.rows(bad), name, ", ".join(column.allowed), "use one of these words")
    elif name in FREE_TEXT:
        bad = text.str.contains(_CONTROL)
        desk.flag("bad-text", found.rows(bad), name, "printable characters", "type the cell anew")
    else:
        bad = text.str.contains(_UNSEEN) | (text.str.len() > LONGEST_IDENTIFIER)
        desk.flag(
            "bad-text", found.rows(bad), name,
            f"visible characters, at most {LONGEST_IDENTIFIER}", "type the cell anew",
        )  # fmt: skip
    desk.columns[name] = found.column(text)


def _number(desk: Desk, column: Column, found: Words) -> None:
    name, comma = column.name, desk.raw.decimal_comma
    values, bad = numbers(found.text, decimal_comma=comma)
    allowed = "a number such as 0.812" + (" or 0,812" if comma else "")
    desk.flag("not-a-number", found.rows(bad), name, allowed, "type the plain number")
    outside = (values < column.low) | (values > column.high)
    desk.flag(
        "out-of-range", found.rows(outside), name, f"{column.low:g} to {column.high:g}",
        "look the value up and correct it",
    )  # fmt: skip
    with_comma = found.text.str.contains(",", regex=False).to_numpy(bool) & ~bad
    with_point = found.text.str.contains(".", regex=False).to_numpy(bool) & ~bad
    if with_comma.any() and with_point.any():
        first = np.zeros(desk.size, bool)
        first[np.argmax(found.rows(with_comma))] = True
        desk.flag(
            "mixed-decimals", first, name, "one decimal sign in a column",
            "see that no comma parts thousands", severity="confirm",
        )  # fmt: skip
    desk.columns[name] = found.rows(values)


def _list(desk: Desk, column: Column, found: Words) -> None:
    text, bad = lists(found.text, decimal_comma=desk.raw.decimal_comma)
    desk.flag(
        "not-a-number", found.rows(bad), column.name, "numbers parted by spaces or semicolons",
        "type the plain numbers",
    )  # fmt: skip
    desk.columns[column.name] = found.column(text)


def _date(
    desk: Desk, column: Column, found: Words, day_first: bool | None, today: np.datetime64
) -> None:
    name = column.name
    read = dates(found.text, day_first=day_first, timed=column.kind == "moment")
    iso = "a date as YYYY-MM-DD"
    desk.flag(
        "ambiguous-date", found.rows(read.ambiguous), name, iso,
        "write YYYY-MM-DD, or read the source anew as day-first or month-first",
    )  # fmt: skip
    desk.flag("not-a-date", found.rows(read.bad), name, iso, "write the date as YYYY-MM-DD")
    late = (read.day > today + 1) & (name not in AHEAD)
    desk.flag(
        "future-date", found.rows(late), name, f"up to today, {today}",
        "correct the date", severity="warn" if name == "closed_on" else "block",
    )  # fmt: skip
    desk.flag(
        "out-of-range", found.rows(read.day < _EARLIEST), name, f"from {_EARLIEST}",
        "correct the year",
    )  # fmt: skip
    desk.columns[name] = found.column(read.text)
    desk.days[name] = found.rows(read.day)
