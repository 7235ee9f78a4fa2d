"""Commands that keep a store whole: prove it unaltered, back it up, restore it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from aging.cli.commands import commands
from aging.cli.options import Json

if TYPE_CHECKING:  # a store is opened only by the command that needs one
    from aging.ledger import Verdict

KeptStore = Annotated[
    str, typer.Argument(metavar="STORE", help="An SQLite file or a postgresql:// URL.")
]


@commands.command(epilog="Example: aging verify exposure.sqlite")
def verify(
    store: KeptStore,
    *,
    expect: Annotated[
        str | None,
        typer.Option(metavar="DIGEST", help="Noted earlier: the store must still contain it."),
    ] = None,
    json: Json = None,
) -> int:
    """Prove that nothing stored was altered, or say where."""
    from aging.cli import output
    from aging.ledger import open_ledger

    with open_ledger(store) as book:
        found = book.verify()
    every = {*found.digests.values(), *(one for log in found.logs.values() for one in log)}
    known = expect is None or expect.strip().lower() in every
    facts = {"rows": found.rows, "batches": len(found.digests), "digest": found.head,
             "breaks": found.breaks, "unguarded": found.unguarded,
             "altered_photos": found.altered_photos, "altered_logs": found.altered_logs,
             "log_digests": _newest(found), "expected_digest_found": known}  # fmt: skip
    output.give(json, facts, lambda: _show(found, store, expect, known=known))
    return int(not (found.whole and known))


@commands.command(epilog="Example: aging backup exposure.sqlite copy.sqlite")
def backup(
    store: KeptStore,
    file: Annotated[Path, typer.Argument(help="New SQLite file to write.")],
) -> int:
    """Copy a store into one file while others write."""
    from aging.cli import output
    from aging.ledger import open_ledger

    with output.progress("backing up"), open_ledger(store) as book:
        found = book.backup(file)
    typer.echo(f"wrote {file}; restore it with: aging restore {file} NEW_STORE")
    _show(found, str(file))
    return int(not found.whole)


@commands.command(epilog="Example: aging restore copy.sqlite new.sqlite")
def restore(
    file: Annotated[Path, typer.Argument(help="File that aging backup wrote.")],
    store: Annotated[
        str, typer.Argument(metavar="STORE", help="New or empty: a file or a postgresql:// URL.")
    ],
) -> int:
    """Put a backup into a new store."""
    from aging import ledger
    from aging.cli import output

    with output.progress("restoring"):
        found = ledger.restore(file, store)
    _show(found, store)
    return int(not found.whole)


def _newest(found: Verdict) -> dict[str, str]:
    return {name: log[-1] for name, log in found.logs.items() if log}


def _show(found: Verdict, name: str, expect: str | None = None, *, known: bool = True) -> None:
    from aging.cli.output import screen, table

    console = screen()
    size = f"{found.rows} rows in {len(found.digests)} batch{'es' * (len(found.digests) != 1)}"
    console.print(f"{name}: {size}, {'as they were stored' if found.whole else 'ALTERED'}")
    if found.breaks:
        grid = table(["batch", "recorded at", "by", "from", "what differs"], left=5)
        for one in found.breaks:
            facts = (one.batch, one.recorded_at, one.recorded_by, one.source, one.what)
            grid.add_row(*("" if fact is None else str(fact) for fact in facts))
        console.print(grid)
    lines = [f"table {name}: the database no longer refuses changes" for name in found.unguarded]
    lines += [f"photo {name}: gone, or not what its name says" for name in found.altered_photos]
    lines += found.altered_logs
    for log, digest in _newest(found).items():
        lines.append(f"digest of {log}, {len(found.logs[log])} rows: {digest}")
    for line in lines:
        console.print(line, markup=False)
    if not known:
        console.print(
            f"digest {expect} is not in the chain: what it stood for is gone or was sealed anew"
        )
    elif expect is not None:
        console.print("the digest noted earlier is in the chain")
    if found.head:
        console.print(f"digest of batch {max(found.digests)}: {found.head}")
        console.print(
            "Note it outside the store: with --expect, aging verify shows what was cut off."
        )
