"""The command that writes a claim's dossier, or its evidence pack."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from aging.cli.claims import Kept
from aging.cli.commands import commands
from aging.errors import require

ENDINGS = (".pdf", ".html", ".zip")


@commands.command(epilog="Example: aging dossier exposure.sqlite 3f2a91bc --out claim.pdf")
def dossier(
    store: Kept,
    claim: Annotated[str, typer.Argument(help="Id of the claim, or digest of its evidence.")],
    *,
    out: Annotated[Path, typer.Option(help="File to write: .pdf, .html, or .zip of evidence.")],
) -> None:
    """Write what a claim rests on, as the store was then."""
    from aging.claims import dossier as made
    from aging.claims import dossier_html, dossier_pdf, evidence_pack
    from aging.cli import output

    require(out.suffix in ENDINGS, "--out", out.name, "a file ending in .pdf, .html or .zip")
    with output.progress("fitting") as step:
        found = made(store, claim, on_progress=step)
        if out.suffix == ".html":
            out.write_bytes(dossier_html(found).encode())
        else:
            out.write_bytes(dossier_pdf(found) if out.suffix == ".pdf" else evidence_pack(found))
    typer.echo(f"wrote {out}: {found.title}")
