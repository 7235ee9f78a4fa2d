"""Put the facts of an exposure into the store: all of a load, or nothing.

Rows go down in a temporary table, a chunk at a time, and are compared there with the stored ones:
a new key is stored, an equal row is left alone, a changed fact becomes a new version, and a row of
a fixed sheet that differs from the stored one is refused: readings change by corrections only,
claims are withdrawn or replaced.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pandas as pd
from sqlalchemy import Connection, case, delete, exists, func, insert, literal, select, true

from aging.errors import require
from aging.ledger.batches import now, open_batch, said
from aging.ledger.compare import conflicts, is_different, is_newest_of_key
from aging.ledger.corrections import judge
from aging.ledger.receipt import Receipt
from aging.ledger.rows import put_rows
from aging.ledger.schema import STAGES, STAGING, TABLES, content
from aging.ledger.store import Store
from aging.records import SHEETS, Exposure

CHUNK = 50_000
Progress = Callable[[int, int], None]


def append(
    store: Store, exposure: Exposure, *, by: str, source: str, on_progress: Progress | None = None
) -> tuple[Receipt, ...]:
    """Store what is new in `exposure` and return a receipt for each sheet.

    Readings that carry recorded_by and recorded_at (from an export) keep them; all other rows are
    recorded as said by `by`, now. `on_progress` is told the rows done and the rows in all.
    """
    by, source = said("by", by), said("source", source)
    for sheet, frame in exposure.frames():
        wanted = [*SHEETS[sheet].names, "extra"]
        require(list(frame.columns) == wanted, f"columns of {sheet}", list(frame.columns), wanted)
    total = sum(len(frame) for _, frame in exposure.frames())
    receipts = {sheet: Receipt(sheet) for sheet in SHEETS}

    def book(receipt: Receipt) -> None:
        receipts[receipt.sheet] += receipt
        if on_progress is not None:
            on_progress(sum(each.rows for each in receipts.values()), total)

    with store.writing() as conn:
        STAGING.create_all(conn)
        readings, findings = judge(conn, exposure.readings)
        if findings:
            book(Receipt("readings", len(findings), refused=len(findings), findings=findings))
        facts = {sheet: frame for sheet, frame in exposure.frames() if sheet != "readings"}
        for author, moment, frames in _batches(facts, readings, by):
            with open_batch(conn, by=author, at=moment, source=source) as batch:
                for sheet, frame in frames.items():
                    for receipt in _store(conn, sheet, frame, batch):
                        book(receipt)
    return tuple(receipts.values())


def _batches(
    facts: dict[str, pd.DataFrame], readings: pd.DataFrame, by: str
) -> Iterator[tuple[str, str, dict[str, pd.DataFrame]]]:
    """Author, moment and frames: this load first, then the batches of an export in their order."""
    moment = now()
    stamped = readings["recorded_by"].notna() | readings["recorded_at"].notna()
    yield by, moment, {**facts, "readings": readings[~stamped] if stamped.any() else readings}
    earlier = readings[stamped].fillna({"recorded_by": by, "recorded_at": moment})
    for (at, author), frame in earlier.groupby(["recorded_at", "recorded_by"]):
        yield str(author), str(at), {"readings": frame}


def _store(
    conn: Connection, sheet: str, frame: pd.DataFrame, batch: Callable[[], int]
) -> Iterator[Receipt]:
    again = frame.duplicated(list(SHEETS[sheet].key))
    first = frame[~again] if again.any() else frame
    for rows, versions in ((first, not SHEETS[sheet].fixed), (frame[again], False)):
        for start in range(0, len(rows), CHUNK):
            chunk = rows.iloc[start : start + CHUNK]
            yield _store_chunk(conn, sheet, chunk, batch, versions=versions)


def _store_chunk(
    conn: Connection, sheet: str, rows: pd.DataFrame, batch: Callable[[], int], *, versions: bool
) -> Receipt:
    """Compare and store; a row that differs is a new version where `versions`, else refused."""
    table, stage, names = TABLES[sheet], STAGES[sheet], content(sheet)
    stored, differs = is_newest_of_key(sheet), is_different(sheet)
    _lay_down(conn, sheet, rows)
    counts = select(func.count(), func.count(case((differs, 1))))
    found, different = conn.execute(counts.select_from(stage.join(table, stored))).one()
    findings = () if versions or not different else conflicts(conn, sheet)
    changed = different if versions else 0
    new = len(rows) - found + changed
    if new and found:
        settled = ~differs if versions else true()
        conn.execute(delete(stage).where(exists().where(stored, settled)))
    if new:
        columns = (stage.c[name] for name in names)
        fresh = select(literal(batch()), *columns).order_by(stage.c.place)
        conn.execute(insert(table).from_select(["batch", *names], fresh))
    return Receipt(sheet, len(rows), new, changed, found - different, len(findings), findings)


def _lay_down(conn: Connection, sheet: str, frame: pd.DataFrame) -> None:
    """Replace the content of the temporary table."""
    stage = STAGES[sheet]
    conn.execute(delete(stage))
    columns = [_plain(frame[name]) for name in content(sheet)]
    put_rows(conn, stage, list(zip(*columns, range(len(frame)), strict=True)))


def _plain(values: pd.Series) -> list[object]:
    return values.astype(object).where(values.notna(), None).tolist()
