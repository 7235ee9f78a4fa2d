"""The commands of the technician's visit: round, take."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from aging.cli.commands import commands
from aging.cli.options import DayFirst, Json, NeededStore, Source, Store
from aging.errors import require


@commands.command(
    "round", epilog="Example: aging round sample_exposure --site AMARO --out round.html"
)
def round_(
    source: Source = None,
    *,
    store: Store = None,
    site: Annotated[str, typer.Option(help="Site whose panels are read.")],
    on: Annotated[
        str | None, typer.Option(metavar="DATE", help="Day of the round.  [default: today]")
    ] = None,
    out: Annotated[
        Path, typer.Option(help="What to write: .html for a phone, .xlsx, or .pdf to print.")
    ],
    properties: Annotated[
        str, typer.Option(metavar="NAME,...", help="What to read.  [default: what is read there]")
    ] = "",
    operator: Annotated[str, typer.Option(help="Who reads.")] = "",
    earlier: Annotated[
        bool, typer.Option("--earlier", help="Show last values in .xlsx and .pdf.")
    ] = False,
    day_first: DayFirst = None,
) -> None:
    """Write the sheet of a round: phone, workbook or paper."""
    from datetime import datetime

    from aging.checks import own_limits
    from aging.cli import sources
    from aging.fieldwork import html, round_sheet
    from aging.fieldwork.paper_sheet import paper_sheet
    from aging.fieldwork.workbook_sheet import workbook

    given, _ = sources.facts(source, store, day_first)
    day = on or f"{datetime.now().astimezone():%Y-%m-%d}"
    names = [name.strip() for name in properties.split(",") if name.strip()]
    limits = own_limits(sources.one_source(source, store))
    sheet = round_sheet(given, site, day, properties=names, operator=operator, limits=limits)
    after = {
        ".html": "Send it to the phone, open it in the browser, and bring what it saves in with: "
        "aging take FILE --store STORE",
        ".xlsx": f"Bring it back in with: aging take {out} --store STORE",
        ".pdf": "Type what is written on it into the phone's sheet or the workbook.",
    }
    require(out.suffix in after, "--out", out.name, "a file that ends in .html, .xlsx or .pdf")
    if out.suffix == ".html":
        out.write_text(html(sheet), encoding="utf-8")
    elif out.suffix == ".xlsx":
        out.write_bytes(workbook(sheet, given, earlier=earlier))
    else:
        out.write_bytes(paper_sheet(sheet, earlier=earlier))
    typer.echo(f"wrote {out}: {len(sheet.panels)} panels at {site} on {day}. {after[out.suffix]}")


@commands.command(epilog="Example: aging take round-AMARO-20260403T1502.json --store trial.sqlite")
def take(
    file: Annotated[
        Path, typer.Argument(help="Round file that a round sheet saved, or a filled .xlsx sheet.")
    ],
    *,
    store: NeededStore,
    by: Annotated[str | None, typer.Option(help="Who takes it; default: the login name.")] = None,
    json: Json = None,
) -> int:
    """Add a round's readings to a store, each once."""
    from getpass import getuser

    from aging.cli import findings, output
    from aging.fieldwork import read_round
    from aging.fieldwork.workbook_sheet import read_workbook
    from aging.ledger import open_ledger

    with open_ledger(store) as book:
        reader = read_workbook if file.suffix.lower() == ".xlsx" else read_round
        read = reader(file, book.read())
        told = book.append(read.exposure, by=by or getuser(), source=file.name)
    receipts = [one for one in told if one.rows or one.sheet == "readings"]
    output.give(
        json,
        {
            "receipts": receipts,
            "tallies": read.tallies,
            "findings": findings.of_load(read, receipts),
            "notes": read.notes,
        },
        lambda: findings.show_load(read, receipts, store),
    )
    return int(read.blocked or any(one.refused for one in receipts))
