"""Facts out of the store, as frames with the columns and types of `records.Exposure`."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

import pandas as pd
import pyarrow as pa
from sqlalchemy import ColumnElement, Connection, func, select

from aging.errors import require
from aging.ledger import snapshot
from aging.ledger.batches import revision
from aging.ledger.schema import BATCH, FROM_BATCH, READINGS, TABLES
from aging.ledger.store import Store
from aging.records import SHEETS, Exposure, empty_frame

CHUNK = 100_000
_KINDS = {"f": pa.float64(), "O": pa.large_string()}


def read(
    store: Store, as_of_revision: int | None = None, *, only: Collection[str] = tuple(SHEETS)
) -> Exposure:
    """Facts that stand, as known at a revision (None: now): newest versions, no superseded reading.

    only: the sheets to read, the others stay empty. CallError for a revision that the store does
    not have. All that stands now comes from a snapshot kept on disk where it can
    (`aging.ledger.snapshot`).
    """
    with store.reading() as conn:
        known = _known(conn, as_of_revision)
        if as_of_revision is None and set(only) == set(SHEETS):
            return _whole(conn, known)
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
        if since:  # an index finds these; all of them are read faster without it
            known &= READINGS.c.read_on >= since
        return _frame(conn, "readings", known, few=bool(since))


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


def _whole(conn: Connection, newest: int) -> Exposure:
    """All that stands: from the newest snapshot that was kept, with what came after it."""
    since, base = snapshot.last(conn)
    if base is None:
        frames = {sheet: _frame(conn, sheet, _stands(sheet, newest)) for sheet in SHEETS}
        return snapshot.keep(conn, newest, frames, len(frames["readings"]))
    later = {
        sheet: _frame(conn, sheet, table.c.batch.between(since + 1, newest))
        for sheet, table in TABLES.items()
    }
    return snapshot.keep(conn, newest, snapshot.joined(base, later), sum(map(len, later.values())))


def _frame(
    conn: Connection, sheet: str, condition: ColumnElement[bool], more: Collection[str] = (),
    *, few: bool = False,
) -> pd.DataFrame:  # fmt: skip
    """Rows of a sheet in the order stored; a column without a single cell is not fetched."""
    table, empty = TABLES[sheet], empty_frame(sheet)
    empty = empty.assign(**dict.fromkeys(more, pd.Series(dtype="str")))
    own = [name for name in empty.columns if name not in FROM_BATCH]
    counts = conn.execute(select(*(func.count(table.c[name]) for name in own)).where(condition))
    filled = [name for name, count in zip(own, counts.one(), strict=True) if count]
    if not filled:
        return empty
    query = select(table.c.batch, *(table.c[name] for name in filled)).where(condition)
    order = table.c.id + 0 if few else table.c.id  # by id alone SQLite would go through all
    found = conn.execute(query.order_by(order)).partitions(CHUNK)
    schema = pa.schema(
        [("batch", pa.int64()), *((name, _KINDS[empty[name].dtype.kind]) for name in filled)]
    )
    frame = (
        pa.Table.from_batches([_typed(rows, schema) for rows in found]).combine_chunks().to_pandas()
    )
    batches = pd.DataFrame(conn.execute(select(BATCH)).mappings().all()).set_index("id")
    said = {name: frame["batch"].map(batches[name]) for name in FROM_BATCH if name in empty}
    return frame.assign(**said).reindex(columns=empty.columns).astype(empty.dtypes)


def _typed(rows: Iterable[Any], schema: Any) -> Any:
    columns = zip(schema.types, zip(*rows, strict=True), strict=True)
    return pa.record_batch([pa.array(cells, type=kind) for kind, cells in columns], schema=schema)
