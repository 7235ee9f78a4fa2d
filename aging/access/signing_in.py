"""How a person proves who they are, and how wrong tries are slowed down.

A person has three tries, the store as a whole twenty in an hour; each one more doubles a wait, to
at most a quarter of an hour for the person and half a minute for all (assumed, no source; NIST
SP 800-63B asks for a limit). Tries are counted in the store, so that they outlive a restart.
"""

from __future__ import annotations

from collections.abc import Mapping
from threading import Lock
from time import time
from typing import Any

from aging.access.acting import Through
from aging.access.passcodes import fits
from aging.access.people import Person, people
from aging.access.sessions import LONGEST
from aging.access.times import now, seconds_since
from aging.errors import AccessError
from aging.ledger import DeedRow, Ledger

REFUSED, SIGNED_IN = "sign-in refused", "signed in"
DAY, HOUR = 86_400.0, 3_600.0
TRIES, TRIES_OF_ALL = 3, 20
WAIT, LONGEST_WAIT, LONGEST_WAIT_OF_ALL = 5.0, 900.0, 30.0
_WRONG = "name or passcode is wrong; try again, or ask a keeper for a new passcode"
_one_at_a_time = Lock()


def sign_in(book: Ledger, name: str, passcode: str, *, through: Through) -> Person:
    """The person whose passcode this is; AccessError where it is wrong or comes too early.

    An unknown name takes as long and is told the same; it is not kept, for it may be a passcode
    typed in the wrong place.
    """
    with _one_at_a_time:
        person = people(book).get(name)
        known = person.name if person else ""
        misses = _misses(book.deeds(now(ago=DAY)), known)
        _wait(misses, book.deeds(now(ago=HOUR)))
        if person is None or not fits(passcode, person.passcode):
            if person is None:
                fits(passcode, None)
            book.record(DeedRow(now(), known, REFUSED, "", through))
            raise AccessError(_WRONG)
        if misses or through == "page":
            book.record(DeedRow(now(), known, SIGNED_IN, "", through))
        return person


def _misses(deeds: tuple[DeedRow, ...], name: str) -> list[DeedRow]:
    """Refused tries of a person since they signed in last."""
    mine = [one for one in deeds if one.who == name and one.deed in (REFUSED, SIGNED_IN)]
    last = max((place for place, one in enumerate(mine) if one.deed == SIGNED_IN), default=-1)
    return mine[last + 1 :] if name else []


def _wait(mine: list[DeedRow], lately: tuple[DeedRow, ...]) -> None:
    refused = [one for one in lately if one.deed == REFUSED]
    waits = (
        _left(mine, TRIES, LONGEST_WAIT),
        _left(refused, TRIES_OF_ALL, LONGEST_WAIT_OF_ALL),
    )
    if max(waits) > 0:
        raise AccessError(f"too many wrong tries; try again in {max(waits):.0f} s")


def _left(misses: list[DeedRow], free: int, longest: float) -> float:
    over = len(misses) - free
    if over < 0:
        return 0.0
    return min(WAIT * 2.0 ** min(over, 10), longest) - seconds_since(misses[-1].at)


def vouched(book: Ledger, told: Mapping[str, Any]) -> Person | None:
    """The person whom an identity provider vouches for, by subject or verified e-mail address.

    None for a sign-in older than a session may be (`iat`, seconds since 1970).
    """
    if time() - float(told.get("iat") or 0) > LONGEST:
        return None
    names = {str(told["sub"])} if told.get("sub") else set()
    if told.get("email") and told.get("email_verified") is True:
        names.add(str(told["email"]))
    person = next((one for one in people(book).values() if one.sign_in in names), None)
    if person is not None:
        book.record(DeedRow(now(), person.name, SIGNED_IN, "", "page"))
    return person
