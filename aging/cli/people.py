"""The keeper's commands: who may do what in a store, and who did what."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from aging.cli.commands import commands
from aging.cli.options import Json
from aging.errors import AccessError, CallError, require

if TYPE_CHECKING:
    from aging.access import Person

OPEN = "Nobody is named: whoever can open this store may do everything. The first is a keeper."
KeptStore = Annotated[
    str, typer.Argument(metavar="STORE", help="An SQLite file or a postgresql:// URL.")
]


@commands.command(epilog="Example: aging people trial.sqlite anna --add --role keeper --passcode")
def people(
    store: KeptStore,
    name: Annotated[str | None, typer.Argument(help="Person.  [default: list all]")] = None,
    *,
    new: Annotated[bool, typer.Option("--add", help="Add the person; the first a keeper.")] = False,
    role: Annotated[
        str | None,
        typer.Option(
            metavar="ROLE,...", help="reader, technician, formulator, manager, keeper, or several."
        ),
    ] = None,
    secret: Annotated[bool, typer.Option("--passcode", help="Ask for a new passcode.")] = False,
    sign_in: Annotated[
        str | None,
        typer.Option(metavar="ID", help="E-mail or subject that the identity provider vouches."),
    ] = None,
    gone: Annotated[bool, typer.Option("--end", help="End the person's access.")] = False,
    json: Json = None,
) -> None:
    """List who may do what in a store; add, change, end."""
    from aging import access
    from aging.cli.gate import login, proved
    from aging.ledger import open_ledger

    roles = None if role is None else [one.strip() for one in role.split(",")]
    asked = new or gone or secret or role is not None or sign_in is not None
    require((name is not None) == asked, "people", name, "a NAME and what to change, or neither")
    require(not gone or not (new or secret or role or sign_in), "--end", name, "--end alone")
    with open_ledger(store) as book:
        known = access.people(book)
        who = proved(book)
        if name is None:
            _show(known, json)
            return
        if not known and name != login() and not secret:
            raise AccessError(
                f"{name} is not your login name ({login()}): add --passcode, or nobody could prove"
                " to be the first keeper"
            )
        passcode = _asked(name) if secret else None
        if gone:
            access.end(book, name, who=who)
        elif new:
            access.add(book, name, roles or (), who=who, passcode=passcode, sign_in=sign_in)
        else:
            access.change(book, name, who=who, roles=roles, passcode=passcode, sign_in=sign_in)
    typer.echo(f"{name} is {'ended' if gone else 'added' if new else 'changed'}")


@commands.command(epilog="Example: aging deeds exposure.sqlite --since 2026-06-01")
def deeds(
    store: KeptStore,
    *,
    since: Annotated[str, typer.Option(metavar="DATE", help="Since this day, UTC.")] = "",
    json: Json = None,
) -> None:
    """List who did what in a store, and through what."""
    from aging import access
    from aging.cli import output
    from aging.cli.gate import proved
    from aging.ledger import open_ledger

    require(not since or output.is_day(since), "--since", since, "a day, YYYY-MM-DD")
    with open_ledger(store) as book:
        access.permitted(book, proved(book), "deeds")
        found = access.deeds(book, since)
    columns = ("at", "who", "deed", "on", "through")

    def show() -> None:
        grid = output.table(list(columns), left=5)
        for one in found:
            grid.add_row(one.at[:19], *(getattr(one, name) for name in columns[1:]))
        output.screen().print(
            grid if found else "Nothing recorded: it begins with the first keeper."
        )

    output.give(json, {"deeds": found}, show)


def _asked(name: str) -> str:
    first, again = (
        typer.prompt(f"{told} for {name}", hide_input=True) for told in ("Passcode", "Once more")
    )
    if first != again:
        raise CallError("passcode: the two are not the same; nothing was stored")
    return str(first)


def _show(known: dict[str, Person], json: str | None) -> None:
    from aging.cli import output

    facts = [
        {"person": one.name, "roles": sorted(one.roles), "sign_in": one.sign_in,
         "passcode": one.passcode is not None} for one in known.values()
    ]  # fmt: skip

    def show() -> None:
        console, grid = output.screen(), output.table(["person", "roles", "known by"], left=3)
        for one in known.values():
            ways = [
                *(["passcode"] if one.passcode else []),
                *([one.sign_in] if one.sign_in else []),
            ]
            grid.add_row(one.name, ", ".join(sorted(one.roles)), ", ".join(ways) or "login name")
        console.print(grid if known else OPEN)

    output.give(json, {"people": facts}, show)
