"""Where readings come from: a folder, a workbook or a store, opened as one Exposure."""

from __future__ import annotations

from pathlib import Path

from aging.errors import SourceError
from aging.records import Exposure

STORE_SUFFIXES = (".sqlite", ".db", ".sqlite3")


def is_store(source: str | Path) -> bool:
    """Whether a source names a store (a URL or a database file) rather than sheets."""
    return "://" in str(source) or Path(source).suffix.lower() in STORE_SUFFIXES


def open_source(
    source: str | Path | Exposure, *, day_first: bool | None = None, revision: int | None = None
) -> Exposure:
    """Read the accepted facts of a source; rows with blocking findings are left out.

    `revision` reads a store as it was then. SourceError where the source cannot be read.
    """
    if isinstance(source, Exposure):
        return source
    if is_store(source):
        from aging.ledger import open_ledger  # a folder needs no database

        with open_ledger(source) as ledger:
            return ledger.read(as_of_revision=revision)
    from aging.intake import read  # a store needs no readers

    if not Path(source).exists():
        raise SourceError(f"{source}: no such folder, workbook or store")
    return read(source, day_first=day_first).exposure
