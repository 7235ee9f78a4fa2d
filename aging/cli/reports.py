"""The commands that look back: a panel's story, a visit's report."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from aging.cli.commands import commands
from aging.cli.options import DayFirst, Json, Source, Store
from aging.errors import require

if TYPE_CHECKING:  # a command starts without pandas
    from aging.fieldwork.story import Story


@commands.command(epilog="Example: aging story sample_exposure AMARO-PS0H0-1")
def story(
    source: Source = None,
    panel: Annotated[str | None, typer.Argument(help="Id of the panel.")] = None,
    *,
    store: Store = None,
    day_first: DayFirst = None,
    json: Json = None,
) -> None:
    """Tell what befell a panel and which readings count."""
    from aging.checks import check, own_limits
    from aging.cli import output, sources
    from aging.fieldwork.story import kept
    from aging.fieldwork.story import story as gathered

    if store is not None and panel is None:
        source, panel = None, source
    require(panel is not None, "PANEL", panel, "the id of a panel, after the source")
    name = sources.one_source(source, store)
    with output.progress("looking"):
        given, _ = sources.facts(source, store, day_first)
        found = gathered(
            given, panel or "", kept(name, given), check(given, limits=own_limits(name))
        )
    told = {"panel": found.facts.dropna().to_dict(), "entries": found.entries,
            "readings": found.readings}  # fmt: skip
    output.give(json, told, lambda: _show(found))


@commands.command(
    epilog="Example: aging report sample_exposure --site AMARO --on 2026-04-03 --out visit.pdf"
)
def report(
    source: Source = None,
    *,
    store: Store = None,
    site: Annotated[str, typer.Option(help="Site that was visited.")],
    on: Annotated[str, typer.Option(metavar="DATE", help="Day of the visit.")],
    out: Annotated[Path, typer.Option(help="Report to write: .html or .pdf.")],
    day_first: DayFirst = None,
) -> None:
    """Write what a visit brought, doubts and gaps with it."""
    from aging.checks import check, own_limits
    from aging.claims import watch, watch_line
    from aging.cli import output, sources
    from aging.fieldwork.report import visit_report
    from aging.fieldwork.report_pages import as_html, as_pdf
    from aging.fieldwork.story import kept

    require(out.suffix in (".html", ".pdf"), "--out", out.name, "a file ending in .html or .pdf")
    name = sources.one_source(source, store)
    with output.progress("reporting"):
        given, _ = sources.facts(source, store, day_first)
        checked = check(given, limits=own_limits(name))
        claims = tuple(map(watch_line, watch(given)))
        found = visit_report(
            given, site, on, known=kept(name, given), checked=checked, watch=claims
        )
        out.write_bytes(as_pdf(found) if out.suffix == ".pdf" else as_html(found).encode())
    typer.echo(f"wrote {out}: {found.title}")


def _show(found: Story) -> None:
    from aging.cli.output import screen, table
    from aging.fieldwork.story import ENTRY

    console = screen()
    console.print(f"{found.panel}, {found.facts['formulation']}", style="bold")
    grid = table(["when", "what", "", "who", "why"], left=5)
    for on, *told in zip(*(found.entries[name] for name in ENTRY), strict=True):
        grid.add_row(on[:16], *told)
    console.print(grid)
    count = found.readings["standing"].value_counts(sort=False)
    console.print(f"Readings: {', '.join(f'{name} {many}' for name, many in count.items())}.")
    out = found.readings[found.readings["why"] != ""]
    for why, rows in out.groupby("why", sort=False):
        days = ", ".join(dict.fromkeys(rows["read_on"].str[:10]))
        console.print(f"  {len(rows)} {rows['standing'].iloc[0]} ({days}): {why}")
