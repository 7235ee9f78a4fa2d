"""Facts out of the store, as frames with the columns and types of `records.Exposure`."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterable, Mapping
from typing import Any

import pandas as pd
from sqlalchemy import ColumnElement, Connection, func, select

from aging.errors import require
from aging.ledger.batches import revision
from aging.ledger.schema import BATCH, FROM_BATCH, READINGS, TABLES
from aging.ledger.store import Store
from aging.records import SHEETS, Exposure, empty_frame

CHUNK = 100_000


def read(
    store: Store, as_of_revision: int | None = None, *, only: Collection[str] = tuple(SHEETS)
) -> Exposure:
    """Facts that stand, as known at a revision (None: now): newest versions, no superseded reading.

    only: the sheets to read, the others stay empty. CallError for a revision that the store does
    not have.
    """
    with store.reading() as conn:
        known = _known(conn, as_of_revision)
        return Exposure(**{
            sheet: _frame(conn, sheet, _stands(sheet, known)) if sheet in only
            else empty_frame(sheet) for sheet in SHEETS
        })  # fmt: skip


def history(store: Store, since: str = "", as_of_revision: int | None = None) -> pd.DataFrame:
    """Every reading ever recorded, the superseded ones too, in the order of recording.

    since: ISO day; only what was read on that day or later. as_of_revision: as in `read`.
    """
    with store.reading() as conn:
        known = READINGS.c.batch <= _known(conn, as_of_revision)
        return _frame(conn, "readings", known & (READINGS.c.read_on >= since))


def recorded(store: Store, sheet: str, as_of_revision: int | None = None) -> pd.DataFrame:
    """Every row of a sheet ever stored, in that order, with its recorded_by and recorded_at."""
    with store.reading() as conn:
        known = TABLES[sheet].c.batch <= _known(conn, as_of_revision)
        return _frame(conn, sheet, known, FROM_BATCH)


def _known(conn: Connection, as_of_revision: int | None) -> int:
    newest = revision(conn)
    known = newest if as_of_revision is None else as_of_revision
    require(0 <= known <= newest, "as_of_revision", known, f"0 to {newest}")
    return known


def _stands(sheet: str, known: int) -> ColumnElement[bool]:
    table = TABLES[sheet]
    by_then = table.c.batch <= known
    if sheet == "readings":
        old = select(READINGS.c.supersedes).where(READINGS.c.supersedes.is_not(None), by_then)
        return by_then & READINGS.c.reading_id.not_in(old)
    key = (table.c[name] for name in SHEETS[sheet].key)
    return table.c.id.in_(select(func.max(table.c.id)).where(by_then).group_by(*key))


def _frame(
    conn: Connection, sheet: str, condition: ColumnElement[bool], more: Collection[str] = ()
) -> pd.DataFrame:
    table, empty = TABLES[sheet], empty_frame(sheet)
    empty = empty.assign(**dict.fromkeys(more, pd.Series(dtype="str")))
    columns = [BATCH.c[name] if name in FROM_BATCH else table.c[name] for name in empty.columns]
    query = select(*columns).join_from(table, BATCH).where(condition).order_by(table.c.id)
    parts = [_typed(rows, empty.dtypes.to_dict()) for rows in conn.execute(query).partitions(CHUNK)]
    return pd.concat(parts, ignore_index=True) if parts else empty


def _typed(rows: Iterable[Any], types: Mapping[Hashable, Any]) -> pd.DataFrame:
    columns = zip(types.items(), zip(*rows, strict=True), strict=True)
    return pd.DataFrame({name: pd.Series(cells, dtype=kind) for (name, kind), cells in columns})
