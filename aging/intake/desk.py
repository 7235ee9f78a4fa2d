"""A sheet on the checker's desk: what it says so far, which rows are refused, what was found.

The desk is the one thing here that changes while the rules run; what leaves it is frozen.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import repeat
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aging.intake.cells import Mask, Words, words
from aging.intake.raw import STORED, Raw, shown
from aging.records import SHEETS, Finding, Severity, Tally


class Desk:
    """Rows of one file. `columns` holds what was read, `words` the texts, `days` the dates."""

    def __init__(self, raw: Raw) -> None:
        self.raw = raw
        self.size = len(raw.cells)
        longer = [f.row for f in raw.findings if f.code == "extra-cells"]
        self.shifted: Mask = np.asarray(raw.cells.index.isin(longer))  # cells under wrong names
        self.refused: Mask = self.shifted | raw.broken
        self.findings: list[Finding] = list(raw.findings)
        self.notes: list[str] = list(raw.notes)
        self.columns: dict[str, Any] = {}
        self.days: dict[str, NDArray[np.datetime64]] = {}
        self.words: dict[str, Words] = {}

    @property
    def blocked(self) -> bool:
        """Whether the sheet as a whole cannot be used."""
        return self.raw.broken or any(f.code == "missing-column" for f in self.findings)

    def read_words(self, name: str) -> Words:
        """The words of a column of the file."""
        self.words[name] = words(self.raw.cells[name])
        return self.words[name]

    def flag(
        self, code: str, rows: Mask, column: str, allowed: str | Sequence[str], action: str,
        *, severity: Severity = "block", seen: Sequence[str] | None = None,
    ) -> None:  # fmt: skip
        """Note a finding for each of the rows of a mask; a blocking one refuses the row.

        `allowed` is one text for all or one for each row found; `seen` replaces the cell's text.
        """
        at = np.flatnonzero(rows & ~self.shifted)
        if not len(at):
            return
        if severity == "block":
            self.refused[at] = True
        cells = self.raw.cells
        if seen is None:
            seen = cells[column].iloc[at].tolist() if column in cells else [""] * len(at)
        own = self.raw.names.get(column, column)
        limits = repeat(allowed, len(at)) if isinstance(allowed, str) else allowed
        self.findings += [
            Finding(code, severity, self.raw.file, row, own, shown(text), limit, action)
            for row, text, limit in zip(cells.index[at].tolist(), seen, limits, strict=True)
        ]

    def block(self, code: str, column: str | None, seen: str, allowed: str, action: str) -> None:
        """Refuse the whole sheet with one finding."""
        self.refused[:] = True
        found = Finding(code, "block", self.raw.file, None, column, shown(seen), allowed, action)
        self.findings.append(found)

    def frame(self) -> pd.DataFrame:
        """The accepted rows, columns as in SHEETS and `extra`."""
        names = [*SHEETS[self.raw.sheet].names, "extra"]
        table = pd.DataFrame({name: self.columns[name] for name in names})
        return table[~self.refused].reset_index(drop=True) if self.refused.any() else table

    def in_order(self) -> list[Finding]:
        """The findings from the top of the sheet to its bottom."""
        return sorted(self.findings, key=lambda finding: finding.row or 0)

    def tally(self) -> Tally:
        """Rows in, accepted, refused; rows STORED are the store's own and count nowhere."""
        own = self.raw.cells.index != STORED
        size, refused = int(own.sum()), int((self.refused & own).sum())
        return Tally(self.raw.sheet, size, size - refused, refused)


def missing(size: int) -> pd.Series:
    """A text column without a value."""
    return pd.Series(np.nan, index=range(size), dtype="str")
