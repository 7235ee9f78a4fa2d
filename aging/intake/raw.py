"""A sheet as it was found: text cells under plain names, rows numbered as a person sees them.

Row numbers are a spreadsheet's: the header of a tidy file is row 1, its first row of facts row 2;
empty rows are left out and keep their number.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from aging.records import SHEETS, Finding, as_meant

MOST_COLUMNS = 1000
STORED = -1  # row number of what a store holds, where that stands beside the rows of a file


@dataclass(frozen=True)
class Raw:
    """Cells of one file or tab. `broken`: no row can be trusted, all are refused unchecked.

    names: what the file itself calls a column, where that is not our name; day_first: how its dates
    are meant, where a matching says so.
    """

    sheet: str
    file: str
    cells: pd.DataFrame = field(default_factory=pd.DataFrame)
    site: str | None = None
    decimal_comma: bool = False
    broken: bool = False
    findings: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)
    day_first: bool | None = None

    def breaks(
        self, code: str, seen: str, allowed: str, action: str, row: int | None = None
    ) -> Raw:
        """The same sheet with a finding that refuses all of it."""
        found = Finding(code, "block", self.file, row, None, shown(seen), allowed, action)
        return replace(self, broken=True, findings=(*self.findings, found))


def shown(text: str, width: int = 80) -> str:
    """Text as it may safely stand in a message: escaped where unprintable, cut where long."""
    text = text if len(text) <= width else text[: width - 3] + "..."
    return text if text.isprintable() else repr(text)[1:-1]


def plain(name: str) -> str:
    """A name without case, spaces and hyphens: `Read on` is `read_on`."""
    return "_".join(name.strip().lower().replace("-", " ").replace("_", " ").split())


def headed(raw: Raw, header: Sequence[str], body: pd.DataFrame) -> Raw:
    """Put the header over the cells: known columns by their own names, others as they stand.

    `body` has one str column a header cell and the row numbers as index.
    """
    if len(header) > MOST_COLUMNS:
        raw = replace(raw, cells=body[body.columns[:1]])
        few = f"at most {MOST_COLUMNS} columns"
        return raw.breaks("unreadable-file", f"{len(header)} columns", few, "save the table alone")
    known = {plain(name): name for name in SHEETS[raw.sheet].names}
    meant = as_meant(pd.Series(header, dtype="str").str.strip())
    names = [known.get(plain(text), shown(text)) for text in meant]
    body = _filled(body.set_axis(range(len(names)), axis="columns"))
    kept = [i for i, name in enumerate(names) if name or (body[i].str.strip() != "").any()]
    body = body[kept].set_axis([names[i] or f"column {i + 1}" for i in kept], axis="columns")
    if not kept:
        return raw.breaks("empty-file", "", "a header and rows", "fill the sheet or remove it")
    twice = body.columns[body.columns.duplicated()]
    if len(twice):
        raw = raw.breaks("duplicate-column", twice[0], "each name once", "rename or remove one", 1)
        return replace(raw, cells=body)
    if raw.site is not None and "site" not in body:
        body = body.assign(site=pd.Series(raw.site, index=body.index, dtype="str"))
    else:
        raw = replace(raw, site=None)
    if body.empty:
        nothing = Finding(
            "no-rows", "warn", raw.file, None, None, "", "rows under the header", "add the rows"
        )
        raw = replace(raw, findings=(*raw.findings, nothing))
    return replace(raw, cells=body)


def _filled(body: pd.DataFrame) -> pd.DataFrame:
    """Rows in which any cell is filled."""
    empty = np.arange(len(body))
    for name in body:
        empty = empty[(body[name].iloc[empty].str.strip() == "").to_numpy(bool)]
        if not len(empty):
            return body
    return body.drop(index=body.index[empty])
