"""The commands about sun and weather, with their options: heat, weather."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from aging.cli.commands import commands
from aging.cli.options import Json, Source
from aging.errors import require

Azimuth = Annotated[
    float | None,
    typer.Option(
        min=0, max=360, help="Degrees from north it faces.  [default: as the rack, or the equator]"
    ),
]


@commands.command(epilog="Example: aging heat --reflectance 0.65 --initial 0.85 --emittance 0.9")
def heat(
    source: Source = None,
    *,
    reflectance: Annotated[float, typer.Option(help="Solar reflectance, a fraction.")],
    initial: Annotated[
        float | None, typer.Option(help="That of the same surface when new, to compare.")
    ] = None,
    emittance: Annotated[
        float | None, typer.Option(help="Thermal emittance, measured.  [default: 0.90, assumed]")
    ] = None,
    wind: Annotated[
        Literal["low", "medium", "high"], typer.Option(help="Wind as in ASTM E1980.")
    ] = "medium",
    site: Annotated[
        str | None, typer.Option(help="Site of SOURCE whose sun falls on the roof.")
    ] = None,
    file: Annotated[
        Path | None, typer.Option(help="Year of weather (TMY3, EPW) whose sun falls on the roof.")
    ] = None,
    tilt: Annotated[float, typer.Option(min=0, max=90, help="Slope of the roof, degrees.")] = 0.0,
    azimuth: Azimuth = None,
    json: Json = None,
) -> None:
    """Tell surface temperature, SRI and what ageing costs."""
    from aging.cli import heat as hot
    from aging.cli import output
    from aging.optics.heat import emittance as known

    sunny, turned = source is not None or file is not None, tilt or azimuth is not None
    require(source is None or file is None, "heat", str(file), "SOURCE or --file, not both")
    require(source is not None or site is None, "heat", "--site", "with a SOURCE")
    require(sunny or not turned, "heat", "--tilt or --azimuth", "these with a SOURCE or --file")
    require(initial is not None or not sunny, "heat", source or str(file), "a sun with --initial")
    year = None
    if source is not None:
        year = hot.sun_on(source, site, tilt, azimuth)
    elif file is not None:
        year = hot.sun_in(file, tilt, azimuth)
    found = hot.reckon(reflectance, initial, known(emittance), wind, year)
    output.give(json, hot.facts(found), lambda: hot.show(found))


@commands.command(epilog="Example: aging weather sample_exposure --site AMARO --between-visits")
def weather(
    source: Source = None,
    *,
    site: Annotated[str | None, typer.Option(help="One site of SOURCE.  [default: all]")] = None,
    start: Annotated[
        str | None,
        typer.Option("--from", metavar="DATE", help="First day.  [default: exposure begins]"),
    ] = None,
    end: Annotated[
        str | None,
        typer.Option("--to", metavar="DATE", help="Day after the last.  [default: last visit]"),
    ] = None,
    tilt: Annotated[
        float | None, typer.Option(min=0, max=90, help="Degrees from level.  [default: the rack's]")
    ] = None,
    azimuth: Azimuth = None,
    visits: Annotated[
        bool, typer.Option("--between-visits", help="A row for each interval between visits.")
    ] = False,
    file: Annotated[
        Path | None, typer.Option(help="Year of weather (TMY3, EPW) instead of SOURCE's own.")
    ] = None,
    json: Json = None,
) -> int:
    """Sum sun, ultraviolet, rain and dust between dates."""
    from aging.cli import output
    from aging.cli import weather as between

    span = between.Span(start, end, visits)
    found = between.brought(source, span, site=site, tilt=tilt, azimuth=azimuth, file=file)
    facts = {name: getattr(found, name) for name in ("rows", "sources", "notes", "findings")}
    output.give(json, facts, lambda: between.show(found))
    return int(found.refused)
