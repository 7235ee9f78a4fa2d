"""The one way to a deed: page, command and export go through `doing`, which asks and records."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Literal

from aging.access.people import Person, people, require_may
from aging.access.permissions import PERMISSIONS
from aging.access.times import now
from aging.ledger import DeedRow, Ledger, PersonRow

Through = Literal["page", "command"]


def permitted(book: Ledger, who: str | None, deed: str) -> Person | None:
    """The person as the store has them now; None in a store without people; else AccessError."""
    known = people(book)
    return require_may(known.get(who or ""), deed) if known else None


@contextmanager
def doing(
    book: Ledger, who: str | None, deed: str, on: str = "", *, through: Through
) -> Iterator[str | None]:
    """Do a deed as a person whose name is proved; the name to record it by, None in an open store.

    What is taken out is recorded before it leaves; all else once it is done.
    """
    person = permitted(book, who, deed)
    if person is None:
        yield None
        return
    records = PERMISSIONS[deed].records
    if records == "before":
        book.record(DeedRow(now(), person.name, deed, on, through))
    yield person.name
    if records == "after":
        book.record(DeedRow(now(), person.name, deed, on, through))


def deeds(book: Ledger, since: str = "") -> tuple[DeedRow, ...]:
    """Who did what since a day or moment (ISO 8601, UTC), people's changes among them, in order."""
    told = [
        DeedRow(one.at, one.by, "people", f"{one.person}: {one.kind} {_shown(one)}".strip(), "")
        for one in book.people() if one.at >= since
    ]  # fmt: skip
    return tuple(sorted([*told, *book.deeds(since)], key=lambda one: one.at))


def _shown(row: PersonRow) -> str:
    return "" if row.kind == "passcode" else row.value
