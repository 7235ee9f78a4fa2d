"""People of a store and what they did: two logs beside the sheets, only ever added to.

Whether a row on a person may be added is judged by the caller under the lock of the one writer, on
the rows that stand: two who act at once do not pass each other. Each row carries its digest in the
chain of its log.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import astuple, dataclass
from typing import Any

from sqlalchemy import Connection, Table, insert, select

from aging.ledger.chain import log_digest
from aging.ledger.schema import DEEDS, PEOPLE
from aging.ledger.store import Store


@dataclass(frozen=True)
class PersonRow:
    """Something told of a person: `kind` and its `value`, when and by whom (UTC, ISO 8601)."""

    at: str
    by: str
    person: str
    kind: str
    value: str


@dataclass(frozen=True)
class DeedRow:
    """Who did what, on what, through which way in (UTC, ISO 8601)."""

    at: str
    who: str
    deed: str
    on: str
    through: str


def people(store: Store) -> tuple[PersonRow, ...]:
    """All that was ever told of people, in order."""
    with store.reading() as conn:
        return _people(conn)


def tell(
    store: Store, rows: Sequence[PersonRow], judge: Callable[[tuple[PersonRow, ...]], None]
) -> None:
    """Add rows on people, all or none, unless `judge`, given those that stand, raises."""
    with store.writing() as conn:
        judge(_people(conn))
        _add(conn, PEOPLE, rows)


def deeds(store: Store, since: str = "") -> tuple[DeedRow, ...]:
    """Deeds since a moment (ISO 8601, UTC), in order."""
    with store.reading() as conn:
        query = select(DEEDS).where(DEEDS.c.at >= since).order_by(DEEDS.c.id)
        return tuple(DeedRow(*row[1:-1]) for row in conn.execute(query))


def record(store: Store, row: DeedRow) -> None:
    """Add a deed."""
    with store.writing() as conn:
        _add(conn, DEEDS, [row])


def chained(conn: Connection, table: Table) -> Iterator[tuple[Any, str]]:
    """Each row of a log with the digest that is due to it after the row before."""
    previous = ""
    for row in conn.execute(select(table).order_by(table.c.id)):
        due = log_digest(previous, row[1:-1])
        yield row, due
        previous = row.digest or due


def _add(conn: Connection, table: Table, rows: Sequence[PersonRow] | Sequence[DeedRow]) -> None:
    last = conn.scalar(select(table.c.digest).order_by(table.c.id.desc()).limit(1))
    if last is None:  # an empty log, or one that an older release wrote
        last = next((due for _, due in reversed(list(chained(conn, table)))), "")
    for row in rows:
        last = log_digest(last, astuple(row))
        conn.execute(insert(table).values(vars(row) | {"digest": last}))


def _people(conn: Connection) -> tuple[PersonRow, ...]:
    query = select(PEOPLE).order_by(PEOPLE.c.id)
    return tuple(PersonRow(*row[1:-1]) for row in conn.execute(query))
