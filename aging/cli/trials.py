"""The formulator's commands: compare, additives, design, look, beside."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from aging.cli.commands import commands
from aging.cli.options import (
    AsOf,
    DayFirst,
    Json,
    Level,
    Measured,
    Months,
    Priors,
    Source,
    Store,
    Time,
)
from aging.errors import require

Guards = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="Own limits of guard-rail properties.  [default: shipped]"),
]


@commands.command(epilog="Example: aging compare sample_exposure --worthwhile 0.02 --period 0,36")
def compare(
    source: Source = None,
    *,
    store: Store = None,
    months: Months = "36",
    level: Level = 0.90,
    as_of: AsOf = None,
    measured: Measured = "solar_reflectance",
    time: Time = "month",
    priors: Priors = None,
    against: Annotated[
        str | None, typer.Option(help="Formulation taken as zero.  [default: the control]")
    ] = None,
    every_pair: Annotated[
        bool, typer.Option("--every-pair", help="All pairs instead of those with the control.")
    ] = False,
    worthwhile: Annotated[
        float | None,
        typer.Option(min=0, help="Least difference that matters, in its unit.  [default: its own]"),
    ] = None,
    margin: Annotated[
        float | None,
        typer.Option(help="As good as within this, in its unit.  [default: the property's own]"),
    ] = None,
    period: Annotated[
        str | None, typer.Option(metavar="FROM,TO", help="Also the mean over these months.")
    ] = None,
    show: Annotated[
        Literal["differences", "origins", "ranks", "pooling"],
        typer.Option(help="Differences, their origins, chances of ranks, or what may be averaged."),
    ] = "differences",
    guards: Guards = None,
    draws: Annotated[
        Path | None, typer.Option(metavar="FILE.nc", help="Write the joint draws as NetCDF.")
    ] = None,
    day_first: DayFirst = None,
    json: Json = None,
) -> int:
    """Compare formulations: by how much, how sure, from where."""
    import pandas as pd

    import aging
    from aging.cli import differences as shown
    from aging.cli import output, results, sources
    from aging.comparison import amounts, differences, export_draws, origins, ranks
    from aging.comparison.guards import failing, limits
    from aging.comparison.guards import guards as verdicts
    from aging.comparison.poolability import not_recorded, poolability

    asked = output.asked(months, level, measured)
    span = None if period is None else output.numbers("--period", period)
    require(span is None or len(span) == 2, "--period", period, "two months, such as 0,36")  # noqa: PLR2004
    table = limits() if guards is None else limits(guards)
    wanted: dict[str, float] = {}
    more: tuple[str, ...] = ()
    with output.progress("comparing") as step:
        given, left_out = sources.facts(source, store, day_first)
        fitted = aging.fit(given, measured, as_of, time=time, priors=priors, on_progress=step)
        failed = failing(verdicts(fitted.exposure, table))
        if show == "origins":
            frame = pd.concat([origins(fitted, at, level, against=against) for at in asked])
        elif show == "ranks":
            frame = pd.concat([ranks(fitted, at, without=failed) for at in asked])
        elif show == "pooling":
            frame = poolability(fitted, against=against)
            more = not_recorded(frame)
        else:
            compared = [
                differences(
                    fitted, at, level, against=against, every_pair=every_pair,
                    worthwhile=worthwhile, margin=margin, failing=failed,
                    period=None if span is None else (span[0], span[1]),
                )
                for at in asked
            ]  # fmt: skip
            frame = pd.concat([one.frame for one in compared])
            wanted = {name: getattr(compared[0], name) for name in ("worthwhile", "margin")}
            told = amounts.told(fitted.measured.name, fitted.measured.unit)
            more = (told,) * (None in (worthwhile, margin))
        if draws is not None:
            export_draws(fitted, asked, draws)
    notes = (*left_out, *more, *fitted.notes)
    output.give(
        json,
        {"rows": frame, **wanted, "failing": failed, "notes": notes, "caution": results.CAUTION},
        lambda: (
            shown.parts(frame, fitted.measured, notes)
            if show == "origins"
            else shown.ranks(frame, notes, failed)
            if show == "ranks"
            else shown.pooling(frame, fitted.measured, notes)
            if show == "pooling"
            else shown.differences(frame, fitted.measured, wanted, notes)
        ),
    )
    return int(bool(left_out))


@commands.command(epilog="Example: aging additives sample_exposure --dose silica_wt_pct")
def additives(
    source: Source = None,
    *,
    store: Store = None,
    months: Annotated[float, typer.Option(help="Month of exposure.")] = 36.0,
    level: Level = 0.90,
    measured: Measured = "solar_reflectance",
    dose: Annotated[
        str | None, typer.Option(metavar="ADDITIVE", help="Follow the gain along its dose.")
    ] = None,
    others: Annotated[
        str | None,
        typer.Option(
            metavar="NAME=X,...", help="Doses of the others with --dose.  [default: least]"
        ),
    ] = None,
    between: Annotated[
        str | None,
        typer.Option(metavar="NAME=X,...", help="Project a composition that was not exposed."),
    ] = None,
    prices: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Costs, from additive, price_per_kg, density_kg_m3."),
    ] = None,
    coating: Annotated[
        float | None, typer.Option(help="Wet coating, kg per m2, with --prices.")
    ] = None,
    density: Annotated[
        float | None, typer.Option(help="Of the wet coating, kg per m3, for additives by volume.")
    ] = None,
    threshold: Annotated[
        float | None, typer.Option(help="Aged value to cross, with --prices.")
    ] = None,
    priors: Priors = None,
    day_first: DayFirst = None,
    json: Json = None,
) -> int:
    """Tell what additives do, alone and together, and cost."""
    import aging
    from aging.cli import additives as asked
    from aging.cli import output, sources

    chosen = [name for name, value in {"--dose": dose, "--between": between, "--prices": prices}
              .items() if value is not None]  # fmt: skip
    require(len(chosen) <= 1, "additives", " ".join(chosen), "one of them")
    require(prices is None or coating is not None, "--prices", "alone", "--coating with it")
    with output.progress("comparing") as step:
        given, left_out = sources.facts(source, store, day_first)
        fitted = aging.fit(given, measured, priors=priors, on_progress=step)
        if dose is not None:
            found = asked.dose(fitted, dose, asked.doses("--others", others), months, level)
        elif between is not None:
            found = asked.between(fitted, asked.doses("--between", between), months, level)
        elif prices is not None:
            cost = asked.Cost(prices, coating or 0.0, density, threshold)
            found = asked.costs(fitted, cost, months, level)
        else:
            found = asked.effects(fitted, months, level)
    notes = (*left_out, *found.notes)
    output.give(json, found.facts | {"notes": notes}, lambda: found.show(notes))
    return int(bool(left_out))


@commands.command(epilog="Example: aging design sample_exposure --wanted 0.02 --panel-cost 40")
def design(
    source: Source = None,
    *,
    store: Store = None,
    measured: Measured = "solar_reflectance",
    wanted: Annotated[
        float | None, typer.Option(help="Difference to show, in the property's unit.")
    ] = None,
    panels: Annotated[str, typer.Option(help="Panels a formulation and site.")] = "1,2,3,5",
    sites: Annotated[str, typer.Option(help="Numbers of sites.")] = "1,2,3",
    read_to: Annotated[str, typer.Option(help="Months up to which panels are read.")] = "12,24,36",
    months: Annotated[float, typer.Option(help="Month that the difference is told for.")] = 36.0,
    level: Level = 0.90,
    power: Annotated[float, typer.Option(help="Chance of showing it.")] = 0.80,
    formulations: Annotated[int, typer.Option(min=2, help="Formulations, the control too.")] = 6,
    panel_cost: Annotated[float, typer.Option(min=0, help="Of hanging a panel.")] = 1.0,
    visit_cost: Annotated[float, typer.Option(min=0, help="Of a visit to a site.")] = 0.0,
    json: Json = None,
) -> None:
    """Before a trial: the smallest difference a plan shows."""
    from aging.cli import output
    from aging.cli.plans import components, show_plans
    from aging.comparison.design import plans

    parts, told = components(source, store, measured)
    table = plans(
        parts, panels=output.counts("--panels", panels), sites=output.counts("--sites", sites),
        read_months=output.numbers("--read-to", read_to), months=months, level=level, power=power,
        wanted=wanted, formulations=formulations, panel_cost=panel_cost, visit_cost=visit_cost,
    )  # fmt: skip
    output.give(
        json, {"rows": table, "components": told}, lambda: show_plans(table, told, wanted, measured)
    )


@commands.command(epilog="Example: aging look sample_exposure --rule rule.json")
def look(
    source: Source = None,
    *,
    rule: Annotated[
        Path, typer.Option(metavar="FILE.json", help="What was decided before the trial began.")
    ],
    store: Store = None,
    as_of: AsOf = None,
    guards: Guards = None,
    chances: Annotated[
        bool,
        typer.Option(
            "--chances", help="How often the rule stops and promotes, by true difference."
        ),
    ] = False,
    day_first: DayFirst = None,
    json: Json = None,
) -> int:
    """During a trial: stop, promote or continue, by a rule."""
    import aging
    from aging.cli import output, sources
    from aging.cli.plans import chances_of, show_look
    from aging.comparison.guards import failing, limits
    from aging.comparison.guards import guards as verdicts
    from aging.comparison.looks import look as decide
    from aging.comparison.looks import read_rule

    known = read_rule(rule)
    table = limits() if guards is None else limits(guards)
    with output.progress("fitting") as step:
        given, left_out = sources.facts(source, store, day_first)
        fitted = aging.fit(given, known.property, as_of, on_progress=step)
        found = decide(fitted, known, failing(verdicts(fitted.exposure, table)))
    odds = chances_of(fitted, known) if chances else None
    notes = (*left_out, *found.notes)
    output.give(
        json, {"rule": known, "look": found.look, "rows": found.frame, "chances": odds,
               "notes": notes},
        lambda: show_look(found, odds, fitted.measured, notes),
    )  # fmt: skip
    return int(bool(left_out))


@commands.command(epilog="Example: aging beside --store exposure.sqlite --what laboratory")
def beside(
    source: Source = None,
    *,
    what: Annotated[
        Literal["roofs", "laboratory"], typer.Option(help="What to set beside the racks.")
    ] = "roofs",
    store: Store = None,
    months: Annotated[float, typer.Option(help="Month of exposure.")] = 36.0,
    level: Level = 0.90,
    measured: Measured = "solar_reflectance",
    day_first: DayFirst = None,
    json: Json = None,
) -> int:
    """Set roofs, or laboratory results, beside the racks."""
    import aging
    from aging.cli import output, sources
    from aging.cli.plans import laboratory_beside, roofs_beside

    with output.progress("fitting") as step:
        given, left_out = sources.facts(source, store, day_first)
        fitted = aging.fit(given, measured, on_progress=step)
        found = (roofs_beside if what == "roofs" else laboratory_beside)(fitted, months, level)
    notes = (*left_out, *found.notes)
    output.give(json, found.facts | {"notes": notes}, lambda: found.show(notes))
    return int(bool(left_out))
