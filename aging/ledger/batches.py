"""Batches: who recorded rows, when and from where. The highest number is the store's revision."""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import Connection, func, insert, select

from aging.errors import require
from aging.ledger.schema import BATCH


def now() -> str:
    """Moment of the call in UTC, ISO 8601 text to the microsecond."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def said(what: str, text: str) -> str:
    """Text that a person gave, on one line; CallError where nothing that can be read is left."""
    line = " ".join(text.split())
    require(bool(line) and line.isprintable(), what, text, "a few words")
    return line


def revision(conn: Connection) -> int:
    """Number of the newest batch; 0 in an empty store."""
    return int(conn.execute(select(func.coalesce(func.max(BATCH.c.id), 0))).scalar_one())


def start_batch(
    conn: Connection, *, by: str, at: str, source: str, reason: str | None = None
) -> int:
    """Add the next batch and return its number."""
    number = revision(conn) + 1
    row = {"id": number, "recorded_at": at, "recorded_by": by, "source": source, "reason": reason}
    conn.execute(insert(BATCH).values(row))
    return number
