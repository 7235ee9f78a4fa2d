"""The commands and their options; each hands over to a room and shows what comes back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from aging.cli.gate import Gate
from aging.cli.options import (
    AsOf,
    DayFirst,
    Json,
    Level,
    Measured,
    Months,
    NeededStore,
    Priors,
    Source,
    Store,
    Time,
)
from aging.errors import require

commands = typer.Typer(
    name="aging",
    cls=Gate,
    help="From readings of exposed roof-coating panels to dated, honest projections.",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


@commands.callback(invoke_without_command=True)
def overview(
    context: typer.Context,
    *,
    version: Annotated[bool, typer.Option("--version", help="Show the version.")] = False,
) -> None:
    """Show the version, or the help where no command is named."""
    if version:
        from aging import __version__

        typer.echo(f"aging {__version__}")
    elif context.invoked_subcommand is None:
        typer.echo(context.get_help())


@commands.command(epilog="Example: aging check sample_exposure --since 2026-01-01")
def check(
    source: Source = None,
    *,
    store: Store = None,
    site: Annotated[str | None, typer.Option(help="Second looks at this site only.")] = None,
    since: Annotated[
        str | None, typer.Option(metavar="DATE", help="Second looks at readings since this day.")
    ] = None,
    every: Annotated[
        bool, typer.Option("--all/--open", help="Those settled and only good to know as well.")
    ] = False,
    projection: Annotated[
        bool,
        typer.Option("--projection", help="Hold the last visits, or all since DATE, to forecasts."),
    ] = False,
    limits: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Own limits.  [default: limits.csv beside the sheets]"),
    ] = None,
    day_first: DayFirst = None,
    json: Json = None,
) -> int:
    """List refused rows and readings to look at again."""
    from aging.cli.doubts import checked_source

    return checked_source(
        source, store, site=site, since=since, every=every, projection=projection, limits=limits,
        day_first=day_first, json=json,
    )  # fmt: skip


@commands.command(epilog="Example: aging settle trial.sqlite 3f2a91bc --as excluded --reason dew")
def settle(
    store: Annotated[str, typer.Argument(help="Store: an SQLite file or a postgresql:// URL.")],
    finding: Annotated[str, typer.Argument(help="Id that aging check shows first.")],
    *,
    decision: Annotated[
        Literal["confirmed", "corrected", "excluded", "reopened"],
        typer.Option("--as", help="How it is settled; nothing is ever deleted."),
    ],
    reason: Annotated[str, typer.Option(help="Why.")],
    value: Annotated[float | None, typer.Option(help="The right value, if corrected.")] = None,
    by: Annotated[str | None, typer.Option(help="Who settles; default: the login name.")] = None,
) -> None:
    """Confirm, correct or exclude what a check found."""
    from getpass import getuser

    from aging.cli.doubts import settled

    count = settled(store, finding, decision, reason=reason, by=by or getuser(), value=value)
    typer.echo(f"{finding} is {decision}: {count} reading{'s' * (count != 1)}")


@commands.command(epilog="Example: aging load sample_exposure --store exposure.sqlite")
def load(
    file: Annotated[
        Path, typer.Argument(help="Exposure folder, .xlsx, or a laboratory's own table (.csv).")
    ],
    *,
    store: NeededStore,
    columns: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="What each header of the laboratory's tables means."),
    ] = None,
    propose: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write such a FILE to look over; no load.")
    ] = None,
    by: Annotated[str | None, typer.Option(help="Who loads; default: the login name.")] = None,
    day_first: DayFirst = None,
    json: Json = None,
) -> int:
    """Add accepted rows to a store, each once."""
    from getpass import getuser

    from aging.cli import loading

    if propose is not None:
        typer.echo("\n".join(loading.propose(file, store, propose)))
        return 0
    return loading.load(
        file, store, columns=columns, by=by or getuser(), day_first=day_first, json=json
    )


@commands.command(epilog="Example: aging project sample_exposure --months 12,24,36")
def project(
    source: Source = None,
    *,
    store: Store = None,
    months: Months = "36",
    level: Level = 0.90,
    as_of: AsOf = None,
    measured: Measured = "solar_reflectance",
    time: Time = "month",
    priors: Priors = None,
    retention: Annotated[
        bool, typer.Option("--retention", help="Show aged over initial instead of the value.")
    ] = False,
    losses: Annotated[
        bool, typer.Option("--losses", help="Show the loss instead, and what washing gives back.")
    ] = False,
    moved: Annotated[
        bool, typer.Option("--movement", help="Show the projection as of each past visit instead.")
    ] = False,
    day_first: DayFirst = None,
    json: Json = None,
) -> int:
    """Project each formulation, with its interval."""
    import aging
    from aging.cli import moved as movements
    from aging.cli import output, results, sources
    from aging.projection import movement

    kinds = {"--retention": retention, "--losses": losses, "--movement": moved}
    kind = [name for name, wanted in kinds.items() if wanted]
    require(len(kind) <= 1, "project", " ".join(kind), "one of them")
    asked = output.asked(months, level, measured, retention=retention)
    with output.progress("projecting") as step:
        given, left_out = sources.facts(source, store, day_first)
        fitted = aging.fit(given, measured, as_of, time=time, priors=priors, on_progress=step)
        found = (
            fitted.losses(asked, level)
            if losses
            else fitted.project(asked, level, retention=retention)
        )
        rows = movement(fitted, asked, level, on_progress=step) if moved else found.frame
    notes = (*left_out, *found.notes)
    output.give(
        json,
        {"rows": rows, "priors": found.priors, "notes": notes, "caution": results.CAUTION},
        lambda: (
            movements.show(rows, fitted.measured, level, notes)
            if moved
            else results.show_projection(rows, notes)
        ),
    )
    return int(bool(left_out))


@commands.command(epilog="Example: aging backtest sample_exposure --cuts 6,12 --no-baselines")
def backtest(
    source: Source = None,
    *,
    store: Store = None,
    cuts: Annotated[
        str, typer.Option(help="Months of exposure after which nothing is known: 12, or 6,12,24.")
    ] = "6,9,12,18,24",
    level: Level = 0.90,
    measured: Measured = "solar_reflectance",
    baselines: Annotated[
        bool, typer.Option("--baselines/--no-baselines", help="Score simple rivals as well.")
    ] = True,
    priors: Priors = None,
    day_first: DayFirst = None,
    json: Json = None,
) -> int:
    """Score forecasts of what was read later."""
    import aging
    from aging.backtesting.rivals import RIVALS
    from aging.cli import output, scores, sources

    months = output.numbers("--cuts", cuts)
    rivals = tuple(RIVALS) if baselines else ()
    with output.progress("forecasting") as step:
        given, left_out = sources.facts(source, store, day_first)
        found = aging.backtest(
            given, measured, months, level, rivals=rivals, priors=priors, on_progress=step
        )
    notes = (*left_out, *found.notes)
    output.give(
        json,
        {"board": found.board, "scores": found.scores, "notes": notes},
        lambda: scores.show(found, notes),
    )
    return int(bool(left_out))


@commands.command(epilog="Example: aging spectrum white.csv --weighting 'G173 direct'")
def spectrum(
    file: Annotated[
        Path | None,
        typer.Argument(help="Spectra: .csv, .xlsx, JCAMP-DX (.jdx, .dx); none: those of STORE."),
    ] = None,
    *,
    weighting: Annotated[
        str,
        typer.Option(
            help="Solar spectrum that weights: a name (a wrong one lists them), or a .csv."
        ),
    ] = "G173 global tilt",
    store: Store = None,
    read_on: Annotated[
        str | None, typer.Option(metavar="DATE", help="When they were measured, to store them.")
    ] = None,
    panels: Annotated[
        str | None,
        typer.Option(metavar="SAMPLE=PANEL,...", help="Panels of samples not named as they are."),
    ] = None,
    surface_state: Annotated[
        str | None, typer.Option(help="What was done to the surface.  [default: as_exposed]")
    ] = None,
    instrument: Annotated[str | None, typer.Option(help="What measured.")] = None,
    operator: Annotated[str | None, typer.Option(help="Who measured.")] = None,
    evidence: Annotated[
        str | None,
        typer.Option(help="What soiled it: laboratory_soiling, slurry.  [default: outdoor]"),
    ] = None,
    illuminant: Annotated[
        str | None, typer.Option(help="Store L*, a*, b* too, under this CIE illuminant: D65.")
    ] = None,
    observer: Annotated[int, typer.Option(help="CIE observer of L*, a*, b*: 2 or 10.")] = 10,
    geometry: Annotated[
        str | None, typer.Option(help="Geometry of the instrument: 45:0, d:8 SCI, d:8 SCE.")
    ] = None,
    by: Annotated[str | None, typer.Option(help="Who stores; default: the login name.")] = None,
    json: Json = None,
) -> int:
    """Reduce spectra to solar reflectance; store them."""
    from getpass import getuser

    from aging.cli import output, spectra
    from aging.cli.findings import listing
    from aging.intake.spectra import read_spectra
    from aging.intake.weighting_file import read_weighting
    from aging.optics.solar import weighting_named

    facts = {"read_on": read_on, "surface_state": surface_state, "instrument": instrument,
             "operator": operator, "evidence": evidence}  # fmt: skip
    colour = {"illuminant": illuminant, "observer_deg": observer, "geometry": geometry}
    require(
        file is not None or store is not None, "spectrum", "nothing", "a FILE, or --store STORE"
    )
    new = store is not None and file is not None
    given = [name for name, fact in (*facts.items(), ("panels", panels)) if fact is not None]
    require(new or not given, "spectrum", ", ".join(given), "these with a FILE and --store STORE")
    require(store is not None or illuminant is None, "illuminant", illuminant, "with --store STORE")
    require(not new or read_on is not None, "read-on", read_on, "the day of measuring, YYYY-MM-DD")
    sun = (
        read_weighting(weighting)
        if weighting.lower().endswith(".csv")
        else weighting_named(weighting)
    )
    read = None if file is None else read_spectra(file)
    source = f"the spectra of {store}" if file is None else str(file)
    rows, bands = spectra.reduced(read, sun)
    kept = None
    if store is not None:
        kept = spectra.keep(
            store, read, source, by or getuser(), sun,
            facts=facts, panel_of=spectra.pairs(panels), colour=colour,
        )  # fmt: skip
    findings = (*(read.findings if read else ()), *(kept.findings if kept else ()))
    notes = read.notes if read else ()
    output.give(
        json,
        {
            "weighting": sun.name,
            "source": sun.source,
            "bands": bands,
            "rows": rows,
            "findings": findings,
            "notes": notes,
        }
        | ({"receipts": kept.receipts, "readings": kept.readings} if kept else {}),
        lambda: listing(spectra.show(source, sun, rows, bands, kept), findings, notes),
    )
    return int(any(one.severity == "block" for one in findings))


@commands.command(epilog="Example: aging export --store exposure.sqlite copy_of_exposure")
def export(
    folder: Annotated[Path, typer.Argument(help="New folder to write.")], *, store: NeededStore
) -> None:
    """Write a store as an exposure folder."""
    from aging import ledger
    from aging.cli import output

    with output.progress("writing"), ledger.open_ledger(store) as book:
        ledger.export(book, folder)
    typer.echo(f"wrote {folder}")


@commands.command(epilog='Example: aging simulate trial --course "late growth + storm" --seed 7')
def simulate(
    folder: Annotated[Path, typer.Argument(help="New folder to write.")],
    *,
    course: Annotated[
        str, typer.Option(help="How panels lose; a wrong name lists the courses.")
    ] = "dirt and rain",
    seed: Annotated[int, typer.Option(min=0, help="Equal seeds give equal folders.")] = 0,
    months: Annotated[int, typer.Option(min=1, max=48, help="Months of readings.")] = 36,
    formulations: Annotated[int, typer.Option(min=1, max=1000, help="Number of them.")] = 6,
    panels: Annotated[
        int | None,
        typer.Option(min=1, max=100, help="Of each formulation at each of 3 sites.  [default: 3]"),
    ] = None,
) -> None:
    """Write an invented exposure folder whose truth is known."""
    from aging import simulation
    from aging.cli import output

    design = simulation.study(course)
    design = simulation.sized(design, months=months, formulations=formulations, panels=panels)
    told = f'aging simulate --course "{course}" --seed {seed} --months {months}'
    told += f" --formulations {formulations}" + (f" --panels {panels}" if panels else "")
    with output.progress("inventing"):
        simulation.write_campaign(simulation.simulate(design, seed), folder, told)
    typer.echo(f"wrote {folder}: all of it is invented; truth/truth.csv holds the true values")


@commands.command(epilog="Example: aging dashboard sample_exposure")
def dashboard(
    source: Source = None,
    *,
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port on this machine.")] = 8501,
    address: Annotated[
        str, typer.Option(help="Where to listen; a network needs a store that names its people.")
    ] = "127.0.0.1",
    phone: Annotated[
        bool, typer.Option("--phone", help="Let this network in; show the address and its code.")
    ] = False,
) -> int:
    """Show a source in the browser of this machine."""
    from aging.cli import sources
    from dashboard.launch import launch
    from dashboard.network import EVERY, HERE

    where = EVERY if phone and address == HERE else address
    return launch(source and sources.existing(source), port=port, address=where)
