"""The commands around the visits: plan, labels, rack, instruments, bridge."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from aging.cli.commands import commands
from aging.cli.options import DayFirst, Json, Level, Measured, Source, Store
from aging.errors import require

if TYPE_CHECKING:  # a command starts without pandas
    import pandas as pd

Site = Annotated[str | None, typer.Option(help="This site only.")]
Today = Annotated[
    str | None, typer.Option("--as-of", metavar="DATE", help="The day it is.  [default: today]")
]
By = Annotated[str | None, typer.Option(help="Who records; default: the login name.")]


@commands.command(epilog="Example: aging plan sample_exposure --ics visits.ics")
def plan(
    source: Source = None,
    *,
    store: Store = None,
    site: Site = None,
    as_of: Today = None,
    every: Annotated[
        bool, typer.Option("--all/--open", help="Visits done and missed as well.")
    ] = False,
    ics: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the open visits for a calendar.")
    ] = None,
    day_first: DayFirst = None,
    json: Json = None,
) -> None:
    """List planned visits: due, overdue, to come."""
    import pandas as pd

    from aging.cli import output, sources
    from aging.fieldwork.plan import visit_plan
    from aging.fieldwork.visit_calendar import calendar

    given, _ = sources.facts(source, store, day_first)
    today = _day(as_of)
    visits = _at(visit_plan(given, today), site)
    still = visits[visits["state"].isin(["due", "overdue", "to come"])]
    if ics is not None:
        ics.write_bytes(calendar(still, pd.Timestamp(today)))
    rows = visits if every else still
    output.give(json, {"as_of": today, "visits": _plain(rows)}, lambda: _show(
        _plain(rows), f"No visit is open on {today}.",
        [f"wrote {ics}: {len(still)} visits"] if ics else [],
    ))  # fmt: skip


@commands.command(
    epilog="Example: aging labels sample_exposure --address http://pc:8501 --out l.pdf"
)
def labels(
    source: Source = None,
    *,
    store: Store = None,
    address: Annotated[str, typer.Option(help="Of the dashboard: http://HOST:PORT.")],
    out: Annotated[Path, typer.Option(help="PDF to write.")],
    site: Site = None,
    blind: Annotated[
        bool, typer.Option("--blind", help="A code instead of panel and formulation; key beside.")
    ] = False,
    grid: Annotated[str, typer.Option(help="Labels across and down an A4 sheet.")] = "3x8",
    day_first: DayFirst = None,
) -> None:
    """Print labels whose QR code opens a panel's entry page."""
    from aging.cli import sources
    from aging.fieldwork.labels import blind_codes, label_sheet

    given, _ = sources.facts(source, store, day_first)
    panels = _at(given.panels, site)
    panels = panels[panels["closed_on"].isna()]
    sides = grid.lower().split("x")
    require(len(sides) == 2 and all(map(str.isdecimal, sides)), "--grid", grid, "such as 3x8")  # noqa: PLR2004
    across, down = map(int, sides)
    out.write_bytes(label_sheet(panels, address, blind=blind, grid=(across, down)))
    typer.echo(f"wrote {out}: {len(panels)} labels")
    if blind:
        key = out.with_suffix(".key.csv")
        codes = panels["panel"].map(blind_codes(panels["panel"].tolist()))
        panels[["panel"]].assign(code=codes).to_csv(key, index=False)
        typer.echo(f"wrote {key}: which code is which panel; keep it from whoever reads")


@commands.command(
    epilog="Example: aging rack --site YARD --formulations A,B,C --rows 3 --columns 5 --out r.pdf"
)
def rack(
    source: Source = None,
    *,
    store: Store = None,
    site: Annotated[str, typer.Option(help="Where the rack stands.")],
    rows: Annotated[int, typer.Option(min=1, help="Rows of positions.")],
    columns: Annotated[int, typer.Option(min=1, help="Positions of a row.")],
    out: Annotated[Path, typer.Option(help="Map to write: .pdf, .svg, .html, or .csv of panels.")],
    formulations: Annotated[
        str, typer.Option(metavar="NAME,...", help="New panels of these, without a SOURCE.")
    ] = "",
    replicates: Annotated[int, typer.Option(min=1, help="New panels of each.")] = 3,
    exposed_on: Annotated[
        str, typer.Option(metavar="DATE", help="Start of new panels, or of those of SOURCE.")
    ] = "",
    name: Annotated[str, typer.Option(help="Name of the rack.")] = "R1",
    seed: Annotated[int, typer.Option(min=0, help="Equal seeds give equal maps.")] = 0,
    day_first: DayFirst = None,
) -> None:
    """Draw by lot where each panel hangs."""
    from aging.cli import sources
    from aging.fieldwork.rack_map import draw_rack, new_panels, positioned, rack_map

    named = [one.strip() for one in formulations.split(",") if one.strip()]
    if named:
        require(not (source or store), "rack", source or store, "a SOURCE or --formulations")
        panels = new_panels(site, named, replicates, exposed_on)
    else:
        panels = _at(sources.facts(source, store, day_first)[0].panels, site)
        panels = panels[panels["closed_on"].isna() & (panels["kind"] != "file_specimen")]
        panels = panels[panels["exposed_on"].str.startswith(exposed_on)].drop(columns="extra")
    hung = rack_map(panels, rows, columns, seed=seed, rack=name)
    spare = int(hung["spare"].sum())
    told = f"Drawn by lot, seed {seed}: {len(panels)} panels, {spare} spare positions. Row 1 is up."
    if out.suffix == ".csv":
        positioned(panels, hung).to_csv(out, index=False)
    else:
        draw_rack(hung, f"Rack {name} at {site}", told, out)
    typer.echo(f"wrote {out}: {told}")


@commands.command(
    epilog="Example: aging instruments --store trial.sqlite --check SR-1 --stage after --value 0.85"
)
def instruments(
    source: Source = None,
    *,
    store: Store = None,
    as_of: Today = None,
    measured: Measured = "solar_reflectance",
    repeatability: Annotated[
        float | None, typer.Option(help="Standard deviation sr.  [default: of the first readings]")
    ] = None,
    check: Annotated[
        str | None, typer.Option(metavar="NAME", help="Record what this one read on its tile.")
    ] = None,
    stage: Annotated[
        Literal["before", "during", "after"], typer.Option(help="Of the visit, with --check.")
    ] = "before",
    value: Annotated[float | None, typer.Option(help="What it read, with --check.")] = None,
    certified: Annotated[
        float | None, typer.Option(help="Value of the tile.  [default: the instrument's own]")
    ] = None,
    operator: Annotated[str | None, typer.Option(help="Who read the tile.")] = None,
    at: Annotated[str | None, typer.Option(metavar="MOMENT", help="When.  [default: now]")] = None,
    by: By = None,
    json: Json = None,
) -> None:
    """List calibrations and tile checks; record a check."""
    from getpass import getuser

    from aging.cli import output, sources
    from aging.fieldwork.instrument_log import calibrations, control_chart, record_check
    from aging.ledger import open_ledger

    if check is not None:
        require(
            store is not None and value is not None, "--check", check, "--store and --value too"
        )
        moment = at or f"{datetime.now().astimezone():%Y-%m-%dT%H:%M}"
        with open_ledger(store or "") as book:
            record_check(book, check, stage, float(value or 0), at=moment, by=by or getuser(),
                         certified=certified, operator=operator)  # fmt: skip
    given, _ = sources.facts(source, store, None)
    found = calibrations(given, _day(as_of))
    control = control_chart(given, measured, repeatability)
    beyond = control[control["verdict"].isin(["warning", "action"])]
    told = (
        f"{len(control)} readings of tiles and file specimens, {len(beyond)} beyond 2 standard "
        f"deviations, {(beyond['verdict'] == 'action').sum()} beyond 3 (--json lists all)"
    )
    output.give(json, {"calibrations": _plain(found), "control": _plain(control)}, lambda: _show(
        _plain(found), "No sheet instruments: nothing is known of calibrations.",
        [told] if len(control) else [],
    ))  # fmt: skip


@commands.command(epilog="Example: aging bridge exposure.sqlite --first SR-1 --second SR-2")
def bridge(
    source: Source = None,
    *,
    store: Store = None,
    first: Annotated[str, typer.Option(help="Whose scale stands.")],
    second: Annotated[str, typer.Option(help="Who is held against it.")],
    measured: Measured = "solar_reflectance",
    alike: Annotated[
        Literal["instrument", "laboratory"], typer.Option("--of", help="What the two are.")
    ] = "instrument",
    within: Annotated[float, typer.Option(min=0, help="Days between the two readings.")] = 3,
    level: Level = 0.95,
    correct: Annotated[
        bool, typer.Option("--correct", help="Put SECOND's readings on FIRST's scale in the store.")
    ] = False,
    since: Annotated[str, typer.Option(metavar="DATE", help="Correct readings from here.")] = "",
    until: Annotated[
        str, typer.Option(metavar="DATE", help="Correct readings up to here.")
    ] = "9999",
    reason: Annotated[str, typer.Option(help="Why, with --correct.")] = "",
    by: By = None,
    json: Json = None,
) -> None:
    """Tell how two instruments or laboratories differ."""
    from getpass import getuser

    from aging.cli import output, sources
    from aging.fieldwork.bridging import bias, corrections, met, precision
    from aging.ledger import open_ledger
    from aging.vocabulary import property_named

    given, _ = sources.facts(source, store, None)
    found = bias(given, first, second, measured, within_days=within, by=alike, level=level)
    spread = precision(met(given, measured, within_days=within, by=alike))
    places = property_named(measured).decimals + 1
    seen, *ends = (f"{one:+.{places}f}" for one in (found.bias, found.lower, found.upper))
    interval = f"{level:.0%} interval {' to '.join(ends)}, {found.panels} panels"
    told = [f"{second} reads {seen} against {first} ({interval})"]
    if correct:
        require(store is not None, "--correct", "no store", "--store STORE")
        new = corrections(given, found, reason, since=since, until=until)
        with open_ledger(store or "") as book:
            book.append(new, by=by or getuser(), source="bridging")
        told.append(
            f"corrected {len(new.readings)} readings; those they supersede stay in the store"
        )
    output.give(json, {"bias": found, "precision": spread}, lambda: _show(
        spread.round(places), "", told,
    ))  # fmt: skip


def _day(given: str | None) -> str:
    return given or f"{datetime.now().astimezone():%Y-%m-%d}"


def _at(rows: pd.DataFrame, site: str | None) -> pd.DataFrame:
    known = rows["site"].drop_duplicates().tolist()
    require(site is None or site in known, "--site", site, known)
    return rows if site is None else rows[rows["site"] == site]


def _plain(rows: pd.DataFrame) -> pd.DataFrame:
    """Moments as ISO 8601 text."""
    rows = rows.copy()
    for name in rows.select_dtypes("datetime"):
        rows[name] = rows[name].dt.strftime("%Y-%m-%dT%H:%M").str.removesuffix("T00:00")
    return rows


def _show(rows: pd.DataFrame, nothing: str, notes: Sequence[str]) -> None:
    from aging.cli.output import screen, table

    console = screen()
    if len(rows):
        grid = table([str(name).replace("_", " ") for name in rows], left=len(rows.columns))
        for row in rows.astype(object).where(rows.notna(), "").itertuples(index=False):
            grid.add_row(*(f"{one:g}" if isinstance(one, float) else str(one) for one in row))
        console.print(grid)
    elif nothing:
        console.print(nothing)
    for note in notes:
        console.print(note)
