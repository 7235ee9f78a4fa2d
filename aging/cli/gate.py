"""The gate before every command that works on a store: who asks, may they, and what is recorded."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from getpass import getuser
from pathlib import Path
from typing import TYPE_CHECKING, Any

from typer.core import TyperCommand, TyperGroup

from aging.errors import AccessError, EmptyStoreError

if TYPE_CHECKING:
    from aging.ledger import Ledger

PERSON, PASSCODE = "AGING_PERSON", "AGING_PASSCODE"
DEEDS = {
    "settle": "settle", "load": "log", "take": "log", "export": "take out", "backup": "back up",
    "withdraw": "claim", "dossier": "take out",
}  # fmt: skip
WHERE = {  # only where this option is given; the command is a look otherwise
    ("claim", "record"): "claim", ("spectrum", "store"): "log", ("instruments", "check"): "log",
    ("bridge", "correct"): "settle",
}  # fmt: skip
OWN = {"restore", "people", "deeds", "dashboard"}  # a new store, or they ask by themselves
ON = ("finding", "formulation", "claim", "folder", "file", "check", "correct", "json")


def deed_of(command: str, given: Mapping[str, Any]) -> str:
    """Deed that a call of a command is; a look that is written as JSON takes figures out."""
    where = (deed for (name, option), deed in WHERE.items() if name == command and given[option])
    return next(where, DEEDS.get(command, "take out" if given.get("json") else "see"))


def login() -> str:
    """Name by which the system knows who calls."""
    return getuser()


def proved(book: Ledger) -> str | None:
    """Name of who calls: the login, or AGING_PERSON with AGING_PASSCODE; AccessError if unproved.

    None where the store has no people.
    """
    from aging.access import people, sign_in

    known = people(book)
    if not known:
        return None
    name = os.environ.get(PERSON) or login()
    person = known.get(name)
    if name == login() and person is not None and person.passcode is None:
        return name
    if PASSCODE not in os.environ:
        raise AccessError(
            f"{book.label} knows its people: set {PERSON} to your name there and {PASSCODE} to your"
            " passcode"
        )
    return sign_in(book, name, os.environ[PASSCODE], through="command").name


@contextmanager
def admitted(command: str, given: dict[str, Any]) -> Iterator[None]:
    """Let a command run on a store as somebody who may; `by` becomes their name."""
    from aging.source import is_store

    store = next((given[one] for one in ("store", "source") if given.get(one)), None)
    if command in OWN or store is None or not is_store(store):
        yield
        return
    if "://" not in str(store) and not Path(store).exists():
        yield  # it is made by this call, or the command says that it is missing
        return
    from aging.access import doing
    from aging.ledger import open_ledger

    try:
        book = open_ledger(store)
    except EmptyStoreError:
        yield
        return
    on = " ".join(str(given[one]) for one in ON if given.get(one))
    with book, doing(book, proved(book), deed_of(command, given), on, through="command") as name:
        if name is not None and "by" in given:
            if given["by"] not in (None, name):
                raise AccessError(f"--by: {given['by']!r} is not you ({name}); leave --by out")
            given["by"] = name
        yield


class Gate(TyperGroup):
    """The commands, each behind the gate."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Name, command and arguments that are left."""
        name, command, rest = super().resolve_command(ctx, args)
        if isinstance(command, TyperCommand) and command.callback is not None:
            command.callback = _behind(str(name), command.callback)
        return name, command, rest


def _behind(name: str, callback: Callable[..., Any]) -> Callable[..., Any]:
    def run(**given: Any) -> Any:
        with admitted(name, given):
            return callback(**given)

    return run
