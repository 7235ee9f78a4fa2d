"""Tabs of a workbook to cells of text, as if each tab had been a CSV file.

A workbook is a zip of XML that other people made. Before it is parsed its members are unpacked
once into nothing, to see that they are whole and small, and that no stray cell far out spans a
table larger than memory.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pandas as pd
from python_calamine import CalamineError, CalamineWorkbook, SheetTypeEnum

from aging.errors import SourceError
from aging.intake.raw import Raw, headed, plain, shown
from aging.records import SHEETS

MOST_BYTES = 500_000_000
MOST_CELLS = 25_000_000
MOST_TIMES, SMALL = 200, 20_000_000  # 60,000 like rows shrink by 16 times
_CELL = re.compile(rb"<(?:\w+:)?(?:c|row)\b[^<]*?\br\s*=\s*[\"']([A-Za-z]*)([0-9]+)[\"'][^<>]*>")
_EXACT = 2**53  # whole numbers up to here are whole in a workbook too


def tabs(path: Path) -> tuple[list[Raw], list[str]]:
    """The sheets of a workbook and the names of the tabs that are none."""
    _inspect(path)
    raws: list[Raw] = []
    others: list[str] = []
    try:
        with CalamineWorkbook.from_path(str(path)) as book:
            for tab in book.sheets_metadata:
                sheet, site = _sheet_of(tab.name)
                if sheet is None or tab.typ != SheetTypeEnum.WorkSheet:
                    others.append(shown(tab.name))
                else:
                    rows = book.get_sheet_by_name(tab.name).to_python(skip_empty_area=False)
                    raws.append(_raw(Raw(sheet, shown(tab.name), site=site), rows))
    except CalamineError as error:
        raise SourceError(f"{path}: not a workbook that can be read ({error})") from error
    return raws, others


def worksheets(path: Path) -> dict[str, list[list[str]]]:
    """Cells of each worksheet by its name, row by row from its top left corner."""
    _inspect(path)
    try:
        with CalamineWorkbook.from_path(str(path)) as book:
            names = [tab.name for tab in book.sheets_metadata if tab.typ == SheetTypeEnum.WorkSheet]
            read = {name: book.get_sheet_by_name(name).to_python(skip_empty_area=False)
                    for name in names}  # fmt: skip
    except CalamineError as error:
        raise SourceError(f"{path}: not a workbook that can be read ({error})") from error
    return {name: [[_text(value) for value in row] for row in rows] for name, rows in read.items()}


def _sheet_of(tab: str) -> tuple[str | None, str | None]:
    name = plain(tab)
    if name.startswith("weather_"):
        return "weather", tab.strip()[len("weather") + 1 :].strip()
    return (name, None) if name in SHEETS else (None, None)


def _raw(raw: Raw, rows: list[list[Any]]) -> Raw:
    cells = [[_text(value) for value in row] for row in rows]
    top = next((i for i, row in enumerate(cells) if any(map(str.strip, row))), None)
    if top is None:
        return raw.breaks("empty-file", "", "a header and rows", "fill the tab or remove it")
    body = pd.DataFrame(cells[top + 1 :], columns=range(len(cells[top])), dtype="str")
    return headed(raw, cells[top], body.set_axis(range(top + 2, len(cells) + 1)))


def _text(value: object) -> str:
    """A cell as a CSV file would hold it."""
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, float) and value.is_integer() and abs(value) < _EXACT:
        return str(int(value))
    if isinstance(value, date | datetime):
        return value.isoformat()
    return str(value)


def _inspect(path: Path) -> None:
    """Raise SourceError unless the file is a whole zip of a bearable size."""
    try:
        with zipfile.ZipFile(path) as archive:
            left, size = MOST_BYTES, path.stat().st_size
            told = sum(member.file_size for member in archive.infolist())
            if told > min(MOST_BYTES, max(SMALL, MOST_TIMES * size)):
                raise _too_large(path)
            for member in archive.infolist():
                left = _unpack(archive, member, left, path)
    except (
        zipfile.BadZipFile, zlib.error, RuntimeError, EOFError, ValueError,
    ) as error:  # fmt: skip
        raise SourceError(
            f"{path}: not an .xlsx workbook, damaged, or locked by a password ({error})"
        ) from error
    except OSError as error:
        raise SourceError(f"{path}: cannot be read ({error.strerror or error})") from error


def _too_large(path: Path) -> SourceError:
    return SourceError(
        f"{path}: unpacks to more than {MOST_BYTES / 1e6:g} MB, or {MOST_TIMES} times its size; "
        "save the sheets as CSV files"
    )


def _unpack(archive: zipfile.ZipFile, member: zipfile.ZipInfo, left: int, path: Path) -> int:
    """Bytes still allowed after this member."""
    tail, width, height = b"", 0, 0
    with archive.open(member) as stream:
        while chunk := stream.read(1 << 20):
            left -= len(chunk)
            if left < 0:
                raise _too_large(path)
            chunk = tail + chunk
            for cell in _CELL.finditer(chunk):
                if not cell[0].endswith(b"/>"):  # an empty cell or row takes no room
                    width, height = max(width, _number(cell[1])), max(height, int(cell[2]))
            tail = chunk[chunk.rfind(b"<") :]  # a tag may be cut in two
    if width * height > MOST_CELLS:
        raise SourceError(
            f"{path}: {member.filename} spans {height} rows and {width} columns; "
            "remove the stray cells far from the table, or save the sheets as CSV files"
        )
    return left


def _number(letters: bytes) -> int:
    """Column letters to a number: A is 1, XFD is 16384."""
    total = 0
    for letter in letters.upper():
        total = total * 26 + letter - 64
    return total
