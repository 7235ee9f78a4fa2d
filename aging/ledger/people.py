"""People of a store and what they did: two logs beside the sheets, only ever added to.

Whether a row on a person may be added is judged by the caller under the lock of the one writer, on
the rows that stand: two who act at once do not pass each other.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, insert, select

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
        conn.execute(insert(PEOPLE), [vars(row) for row in rows])


def deeds(store: Store, since: str = "") -> tuple[DeedRow, ...]:
    """Deeds since a moment (ISO 8601, UTC), in order."""
    with store.reading() as conn:
        query = select(DEEDS).where(DEEDS.c.at >= since).order_by(DEEDS.c.id)
        return tuple(DeedRow(*row[1:]) for row in conn.execute(query))


def record(store: Store, row: DeedRow) -> None:
    """Add a deed."""
    with store.writing() as conn:
        conn.execute(insert(DEEDS).values(vars(row)))


def _people(conn: Connection) -> tuple[PersonRow, ...]:
    return tuple(PersonRow(*row[1:]) for row in conn.execute(select(PEOPLE).order_by(PEOPLE.c.id)))
