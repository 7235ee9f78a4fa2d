"""Sessions of a server: they end when nothing was done for an hour, or after a working day.

Kept in memory, by the digest of their token: a restart ends all (times assumed, no source; a round
on a roof has long pauses).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from secrets import token_urlsafe
from threading import Lock

from aging.access.people import Person

IDLE, LONGEST = 3_600.0, 12 * 3_600.0


@dataclass
class _Session:
    person: Person
    began: float
    seen: float


class Sessions:
    """Who is signed in, by token; `clock` counts seconds."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._lock = clock, Lock()
        self._kept: dict[str, _Session] = {}
        self._tickets: dict[str, str] = {}

    def begin(self, person: Person) -> str:
        """A token for a person who has just proved who they are."""
        token, at = token_urlsafe(32), self._clock()
        with self._lock:
            self._kept = {key: one for key, one in self._kept.items() if self._lasts(one)}
            self._tickets = {t: of for t, of in self._tickets.items() if _key(of) in self._kept}
            self._kept[_key(token)] = _Session(person, at, at)
        return token

    def ticket(self, token: str) -> str:
        """What a page may show in place of a token: it is traded for the token once."""
        ticket = token_urlsafe(32)
        with self._lock:
            self._tickets[ticket] = token
        return ticket

    def trade(self, ticket: str) -> str:
        """The token of a ticket; empty where it is unknown or spent, or its session has ended."""
        with self._lock:
            token = self._tickets.pop(ticket, "")
        return token if self.person(token) else ""

    def person(self, token: str) -> Person | None:
        """Whose session it is, as they signed in; it goes on by this. None where it has ended."""
        with self._lock:
            session = self._kept.get(_key(token))
            if session is None or not self._lasts(session):
                self._kept.pop(_key(token), None)
                return None
            session.seen = self._clock()
            return session.person

    def renew(self, token: str, person: Person) -> None:
        """Let a session that lasts know its person as the store has them now."""
        with self._lock:
            if _key(token) in self._kept:
                self._kept[_key(token)].person = person

    def end(self, token: str) -> None:
        """End a session."""
        with self._lock:
            self._kept.pop(_key(token), None)

    def _lasts(self, session: _Session) -> bool:
        at = self._clock()
        return at - session.seen < IDLE and at - session.began < LONGEST


def _key(token: str) -> str:
    return sha256(token.encode()).hexdigest()
