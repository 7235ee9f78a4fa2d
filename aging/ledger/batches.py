"""Batches: who recorded rows, when and from where. The highest number is the store's revision."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache

from sqlalchemy import Connection, func, insert, select

from aging.errors import require
from aging.ledger.schema import BATCH, SEAL, TABLES
from aging.ledger.seals import contents, last_ids, seal


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


def head(conn: Connection) -> str:
    """Digest of the newest batch, which stands for all that is stored; empty in an empty store."""
    newest = select(SEAL.c.digest).order_by(SEAL.c.batch.desc()).limit(1)
    return str(conn.scalar(newest) or "")


@contextmanager
def open_batch(
    conn: Connection, *, by: str, at: str, source: str, reason: str | None = None
) -> Iterator[Callable[[], int]]:
    """Give a call that begins the next batch once and returns its number; seal it at the end."""
    facts = {"recorded_at": at, "recorded_by": by, "source": source, "reason": reason}
    before = last_ids(conn, TABLES)

    @cache
    def number() -> int:
        following = revision(conn) + 1
        conn.execute(insert(BATCH).values(facts | {"id": following}))
        return following

    yield number
    if number.cache_info().currsize:
        after = last_ids(conn, TABLES)
        grown = {sheet: table for sheet, table in TABLES.items() if after[sheet] > before[sheet]}
        seal(conn, BATCH, SEAL, contents(conn, grown, before))
