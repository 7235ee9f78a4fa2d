"""People of a store: their roles, how each proves who they are, and how that is changed."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace

from aging.access.passcodes import check_passcode, digest
from aging.access.permissions import PERMISSIONS, ROLES
from aging.access.times import now
from aging.errors import AccessError, CallError, require
from aging.ledger import Ledger, PersonRow

LONGEST_NAME = 80


@dataclass(frozen=True)
class Person:
    """A person as the store has them now.

    sign_in: e-mail address or subject by which an identity provider knows them; passcode: digest,
    None where there is none.
    """

    name: str
    roles: frozenset[str]
    sign_in: str | None = None
    passcode: str | None = field(default=None, repr=False)


def people(book: Ledger) -> dict[str, Person]:
    """People who may use the store, by name; empty where it is open to all."""
    return _standing(book.people())


def _standing(rows: Iterable[PersonRow]) -> dict[str, Person]:
    known: dict[str, Person] = {}
    for row in rows:
        if row.kind == "added":
            known[row.person] = Person(row.person, frozenset(row.value.split()))
        elif row.kind == "ended":
            del known[row.person]
        else:
            value = frozenset(row.value.split()) if row.kind == "roles" else row.value
            known[row.person] = replace(known[row.person], **{row.kind: value})  # type: ignore[arg-type]
    return known


def add(
    book: Ledger, name: str, roles: Collection[str], *, who: str | None,
    passcode: str | None = None, sign_in: str | None = None,
) -> None:  # fmt: skip
    """Add a person; the first must be a keeper. CallError, AccessError for what may not be."""
    name = _name(name)

    def fresh(known: Mapping[str, Person]) -> None:
        _single(known, name, sign_in)
        alike = {_plain(one): one for one in known}
        if _plain(name) in alike:
            raise CallError(f"person: {name!r} would be mistaken for {alike[_plain(name)]!r}; "
                            "allowed: another name, or change that one")  # fmt: skip

    told = {"added": _roles(roles)} | _secret(name, passcode) | _provided(sign_in)
    _tell(book, name, told, who=who or name, check=fresh)


def change(
    book: Ledger, name: str, *, who: str | None, roles: Collection[str] | None = None,
    passcode: str | None = None, sign_in: str | None = None,
) -> None:  # fmt: skip
    """Change a person's roles, passcode or provider's name; one's own passcode by anyone."""
    told = {} if roles is None else {"roles": _roles(roles)}
    told |= _secret(name, passcode) | _provided(sign_in)
    _tell(
        book, name, told, who=who, check=lambda known: _single(known, name, sign_in),
        own=set(told) == {"passcode"},
    )  # fmt: skip


def end(book: Ledger, name: str, *, who: str | None) -> None:
    """End a person's access; what they did stays. The last keeper cannot be ended."""
    _tell(book, name, {"ended": ""}, who=who, check=lambda _: None)


def _tell(
    book: Ledger, name: str, told: Mapping[str, str], *, who: str | None,
    check: Callable[[Mapping[str, Person]], None], own: bool = False,
) -> None:  # fmt: skip
    require(bool(told), "person", name, "something to change")
    rows = [PersonRow(now(), who or "", name, kind, value) for kind, value in told.items()]

    def judge(earlier: tuple[PersonRow, ...]) -> None:
        known = _standing(earlier)
        if known and not (own and who == name):
            require_may(known.get(who or ""), "people")
        if "added" not in told and name not in known:
            raise CallError(f"person: {name!r} is not known; allowed: {', '.join(known) or 'none'}")
        check(known)
        after = _standing([*earlier, *rows]).values()
        if not any(allowed(one, "people") for one in after):
            raise CallError("person: nobody would be keeper; allowed: at least one; make one first")

    book.tell(rows, judge)


def allowed(person: Person, deed: str) -> bool:
    """Whether one of a person's roles may do a deed."""
    return bool(person.roles & PERMISSIONS[deed].roles)


def require_may(person: Person | None, deed: str) -> Person:
    """The person; AccessError where nobody is known or their roles do not cover the deed."""
    if person is None:
        raise AccessError("this store knows its people; sign in as one of them")
    if not allowed(person, deed):
        roles = [role for role in ROLES if role in PERMISSIONS[deed].roles]
        raise AccessError(
            f"{person.name} ({', '.join(sorted(person.roles))}) may not {deed}: for "
            f"{', '.join(roles)} only ({PERMISSIONS[deed].reason}); ask a keeper for the role"
        )
    return person


def _roles(roles: Collection[str]) -> str:
    wrong = sorted(set(roles) - set(ROLES))
    require(bool(roles) and not wrong, "role", ", ".join(wrong), ROLES)
    return " ".join(role for role in ROLES if role in roles)


def _secret(name: str, passcode: str | None) -> dict[str, str]:
    if passcode is None:
        return {}
    check_passcode(passcode, name)
    return {"passcode": digest(passcode)}


def _provided(sign_in: str | None) -> dict[str, str]:
    return {} if sign_in is None else {"sign_in": _name(sign_in)}


def _single(known: Mapping[str, Person], name: str, sign_in: str | None) -> None:
    taken = {one.sign_in for one in known.values() if one.name != name}
    require(sign_in is None or sign_in not in taken, "sign-in", sign_in, "one of nobody else")


def _name(text: str) -> str:
    ok = text == " ".join(text.split()) and text.isprintable() and 0 < len(text) <= LONGEST_NAME
    require(ok, "person", text, f"1 to {LONGEST_NAME} characters that can be printed")
    return text


def _plain(name: str) -> str:
    return unicodedata.normalize("NFKC", name).casefold()
