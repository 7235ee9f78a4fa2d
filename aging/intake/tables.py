"""A laboratory's own tables as they were found: cells of text under the laboratory's own headers.

The header is the row, of the first ones, that knows the most words of the trade; titles above it
are passed over. A row of units under it joins it: `SR` over `%` is `SR (%)`. Row numbers are a
spreadsheet's.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path

import pandas as pd

from aging.errors import SourceError
from aging.intake.raw import MOST_COLUMNS, shown
from aging.intake.synonyms import is_unit, knows
from aging.intake.text import DELIMITERS, decode, delimiter_of
from aging.intake.workbook import worksheets

HEAD_ROWS = 30
ALL_ROWS = "*"  # header of what a matching says of every row
WORKBOOKS = (".xlsx", ".xlsm")


@dataclass(frozen=True)
class Table:
    """Cells (str) of one file or tab; columns are its headers, the index its row numbers.

    file: as findings name it; origin: the file that holds it.
    """

    file: str
    origin: str
    cells: pd.DataFrame
    decimal_comma: bool

    @property
    def headers(self) -> tuple[str, ...]:
        """Headers from left to right."""
        return tuple(map(str, self.cells.columns))


def tables_in(path: Path) -> list[Table]:
    """The tables of a CSV file or a workbook; SourceError where it cannot be read."""
    name = shown(path.name)
    if path.suffix.lower() in WORKBOOKS:
        found = [_table(name, rows, tab=tab, comma=True) for tab, rows in worksheets(path).items()]
    else:
        try:
            text, _ = decode(path.read_bytes())
            comma, rows = _rows(text.replace("\r\n", "\n").replace("\r", "\n"))
        except (UnicodeDecodeError, csv.Error) as error:
            raise SourceError(f"{name}: no text table ({error}); save it as UTF-8 CSV") from error
        found = [_table(name, rows, comma=comma)]
    return [one for one in found if one is not None]


def header_of(path: Path) -> list[str]:
    """The first row of a CSV file that is filled; nothing where there is none."""
    with path.open("rb") as file, suppress(UnicodeDecodeError):
        lines = decode(file.read(1 << 16))[0].split("\n")
        line = next((one for one in lines if one.strip(" \t\r,;")), "")
        return [cell.strip(' "\r') for cell in line.split(delimiter_of(line))]
    return []


def _rows(text: str) -> tuple[bool, list[list[str]]]:
    head = text.split("\n")[:HEAD_ROWS]
    delimiter = max(DELIMITERS, key=lambda one: sum(line.count(one) for line in head))
    return delimiter != ",", list(csv.reader(io.StringIO(text, newline="\n"), delimiter=delimiter))


def _table(name: str, rows: Sequence[Sequence[str]], *, comma: bool, tab: str = "") -> Table | None:
    """The table, or None where nothing stands under a header of at least two cells."""
    top = _header_at(rows)
    width = max(map(len, rows), default=0)
    if top is None or width > MOST_COLUMNS:
        return None
    header, below = [cell.strip() for cell in rows[top]], top + 1
    if below < len(rows) and _units(rows[below], header):
        units = [f" ({unit})" if (unit := cell.strip("()[] ")) else "" for cell in rows[below]]
        header = [
            one + unit for one, unit in zip_longest(header, units[: len(header)], fillvalue="")
        ]
        below += 1
    body = pd.DataFrame(
        [[*row, *[""] * (width - len(row))] for row in rows[below:]],
        index=range(below + 1, len(rows) + 1), columns=range(width), dtype="str",
    )  # fmt: skip
    filled = body.apply(lambda column: column.str.strip() != "")
    names = _distinct([*header, *[""] * (width - len(header))])
    kept = [at for at in range(width) if names[at] or filled[at].any()]
    body = body.loc[filled.any(axis=1), kept]
    told = [names[at] or f"column {at + 1}" for at in kept]
    return Table(shown(tab) or name, name, body.set_axis(told, axis="columns"), comma)


def _header_at(rows: Sequence[Sequence[str]]) -> int | None:
    scores = [
        (sum(knows(cell) for cell in row), sum(bool(cell.strip()) for cell in row))
        for row in rows[:HEAD_ROWS]
    ]
    able = [at for at, (_, filled) in enumerate(scores) if filled > 1]
    return max(able, key=lambda at: (scores[at][0], -at)) if able else None


def _units(row: Sequence[str], header: Sequence[str]) -> bool:
    """Whether a row holds units and nothing else, each under a header."""
    cells = [(cell.strip(), at) for at, cell in enumerate(row) if cell.strip()]
    return bool(cells) and all(
        at < len(header) and header[at] and is_unit(cell.strip("()[] ")) for cell, at in cells
    )


def _distinct(names: Sequence[str]) -> list[str]:
    """Names that stand twice get a number, as does the star that means all rows."""
    seen: dict[str, int] = {}
    told = []
    for name in map(shown, names):
        seen[name] = seen.get(name, 0) + 1
        told.append(
            f"{name} ({seen[name]})" if name and (seen[name] > 1 or name == ALL_ROWS) else name
        )
    return told
