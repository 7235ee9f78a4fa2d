"""Back a store up into one SQLite file, and restore such a file into a new store.

Row numbers, batches and digests stay the same, so that a copy has the chain of its store. Photos
go along, before the rows that name them.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from shutil import copytree, ignore_patterns
from tempfile import TemporaryDirectory
from typing import Any

from sqlalchemy import Connection, func, select

from aging.errors import CallError, LedgerError
from aging.ledger.batches import revision
from aging.ledger.migrate import bring_up_to_date
from aging.ledger.rows import put_rows
from aging.ledger.schema import DEEDS, METADATA, PEOPLE, TABLES
from aging.ledger.store import Store, connect
from aging.ledger.verify import PHOTOS, Verdict, photos_of, verify

_AT_ONCE = 10_000


def backup(store: Store, file: str | Path) -> Verdict:
    """Copy the store, as it is at one moment while others write, into a new SQLite file.

    The file appears when it is complete, whether or not its chain is whole: the verdict on the
    copy says that. CallError where the file exists; LedgerError where it cannot be written.
    """
    target = Path(file).expanduser().absolute()
    photos = target.with_name(f"{target.name}.photos")
    for taken in (target, photos):
        if taken.exists():
            raise CallError(f"file: {taken} exists; allowed: a new file")
    with _writable(target), TemporaryDirectory(prefix=f".{target.name}-", dir=target.parent) as at:
        draft = Path(at, target.name)
        copy = _snapshot(store, draft)
        verdict = verify(copy)
        drawn = photos_of(copy)
        if drawn and drawn.exists():
            drawn.rename(photos)
        draft.rename(target)
    return verdict


def restore(file: str | Path, where: str | Path) -> Verdict:
    """Put a backup into a new or empty store, all of it or nothing; verified before and after.

    LedgerError where the backup's chain is broken or the store holds anything. A photo gone or
    altered holds nothing back, but the verdict names it. The backup is only read.
    """
    source = connect(file, create=False)
    with TemporaryDirectory() as at:
        copy = _snapshot(source, Path(at, "backup.sqlite"))
        bring_up_to_date(copy, create=False)
        before = verify(copy)
        _refuse_altered(source, before)
        target = connect(where, create=True)
        bring_up_to_date(target, create=True)
        with copy.reading() as rows, target.writing() as conn:
            if revision(conn):
                raise LedgerError(f"store {target.label}: holds batches already; name a new store")
            _copy_photos(copy, target)
            _copy_rows(rows, conn)
    after = verify(target)
    _refuse_altered(target, after)
    if after.digests != before.digests:
        raise LedgerError(f"store {target.label}: is not equal to {file}; restore into another")
    return after


def _refuse_altered(store: Store, verdict: Verdict) -> None:
    if verdict.breaks:
        first = verdict.breaks[0]
        raise LedgerError(
            f"store {store.label}: was altered (batch {first.batch}, {first.what}); take an earlier"
            f" backup, or see aging verify {store.label}"
        )


@contextmanager
def _writable(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise LedgerError(f"file {target}: cannot be written ({error})") from error


def _snapshot(store: Store, file: Path) -> Store:
    """All rows at one moment in a new SQLite file, and the photos beside it."""
    if store.engine.dialect.name == "sqlite":
        with store.reading() as conn, closing(sqlite3.connect(file)) as target:
            driver: Any = conn.connection.driver_connection
            driver.backup(target)
        copy = connect(file, create=False)
    else:
        copy = connect(file, create=True)
        bring_up_to_date(copy, create=True)
        with store.reading() as rows, copy.writing() as conn:
            _copy_rows(rows, conn)
    _copy_photos(store, copy)
    return copy


def _copy_rows(source: Connection, target: Connection) -> None:
    for table in METADATA.sorted_tables:
        rows = source.execute(
            select(table).order_by(*table.primary_key), execution_options={"yield_per": _AT_ONCE}
        )
        for part in rows.partitions():
            put_rows(target, table, [tuple(row) for row in part])
    if target.dialect.name == "postgresql":
        for table in (*TABLES.values(), PEOPLE, DEEDS):
            highest = select(func.max(table.c.id)).scalar_subquery()
            sequence = func.pg_get_serial_sequence(table.name, "id")
            target.execute(select(func.setval(sequence, highest)))


def _copy_photos(source: Store, target: Store) -> None:
    drawn, copy = photos_of(source), photos_of(target)
    if drawn is None or not drawn.is_dir():
        return
    if copy is None:
        raise LedgerError(f"store {target.label}: no folder for its photos; set {PHOTOS} to one")
    with _writable(copy):
        copytree(drawn, copy, dirs_exist_ok=True, ignore=ignore_patterns(".*"))
