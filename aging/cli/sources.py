"""What a command works on: one source, named once, and how much of it is sound."""

from __future__ import annotations

from pathlib import Path

from aging.errors import CallError
from aging.records import Exposure, Intake


def one_source(source: str | None, store: str | None) -> str:
    """The source or the store; CallError unless exactly one is named."""
    if (source is None) == (store is None):
        raise CallError("name one source: an exposure folder, or --store STORE")
    return source or store or ""


def facts(
    source: str | None, store: str | None, day_first: bool | None
) -> tuple[Exposure, tuple[str, ...]]:
    """A store, or the sound rows of sheets, with a note where rows were refused."""
    from aging.source import is_store

    name = one_source(source, store)
    if store is not None or is_store(name):
        from aging.ledger import open_ledger

        with open_ledger(name) as book:
            return book.read(), ()
    from aging import intake

    read = intake.read(Path(name), day_first=day_first)
    if not read.blocked:
        return read.exposure, ()
    note = f"{refused(read)} rows were refused and are left out; aging check {name} lists them"
    return read.exposure, (note,)


def existing(source: str) -> str:
    """The source; CallError where it names a file or folder that is not there."""
    if "://" not in source and not Path(source).exists():
        raise CallError(f"{source}: no such folder, workbook or store")
    return source


def refused(read: Intake) -> int:
    """Number of rows that were not accepted."""
    return sum(tally.refused for tally in read.tallies)
