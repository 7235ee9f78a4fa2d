"""Facts out of the store, as frames with the columns and types of `records.Exposure`."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from typing import Any

import pandas as pd
from sqlalchemy import ColumnElement, Connection, func, select

from aging.errors import require
from aging.ledger.batches import revision
from aging.ledger.schema import BATCH, FROM_BATCH, READINGS, TABLES
from aging.ledger.store import Store
from aging.records import SHEETS, Exposure, empty_frame

CHUNK = 100_000


def read(store: Store, as_of_revision: int | None = None) -> Exposure:
    """Facts that stand, as known at a revision (None: now): newest versions, no superseded reading.

    CallError for a revision that the store does not have.
    """
    with store.reading() as conn:
        newest = revision(conn)
        known = newest if as_of_revision is None else as_of_revision
        require(0 <= known <= newest, "as_of_revision", known, f"0 to {newest}")
        return Exposure(**{sheet: _frame(conn, sheet, _stands(sheet, known)) for sheet in SHEETS})


def history(store: Store) -> pd.DataFrame:
    """Every reading ever recorded, the superseded ones too, in the order of recording."""
    with store.reading() as conn:
        return _frame(conn, "readings", READINGS.c.batch <= revision(conn))


def _stands(sheet: str, known: int) -> ColumnElement[bool]:
    table = TABLES[sheet]
    by_then = table.c.batch <= known
    if sheet == "readings":
        old = select(READINGS.c.supersedes).where(READINGS.c.supersedes.is_not(None), by_then)
        return by_then & READINGS.c.reading_id.not_in(old)
    key = (table.c[name] for name in SHEETS[sheet].key)
    return table.c.id.in_(select(func.max(table.c.id)).where(by_then).group_by(*key))


def _frame(conn: Connection, sheet: str, condition: ColumnElement[bool]) -> pd.DataFrame:
    table, empty = TABLES[sheet], empty_frame(sheet)
    columns = [BATCH.c[name] if name in FROM_BATCH else table.c[name] for name in empty.columns]
    query = select(*columns).join_from(table, BATCH).where(condition).order_by(table.c.id)
    parts = [_typed(rows, empty.dtypes.to_dict()) for rows in conn.execute(query).partitions(CHUNK)]
    return pd.concat(parts, ignore_index=True) if parts else empty


def _typed(rows: Iterable[Any], types: Mapping[Hashable, Any]) -> pd.DataFrame:
    columns = zip(types.items(), zip(*rows, strict=True), strict=True)
    return pd.DataFrame({name: pd.Series(cells, dtype=kind) for (name, kind), cells in columns})
