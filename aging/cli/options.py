"""Arguments and options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

Source = Annotated[
    str | None, typer.Argument(help="Exposure folder, .xlsx, or a store (file or URL).")
]
Store = Annotated[str | None, typer.Option(help="Store: an SQLite file or a postgresql:// URL.")]
NeededStore = Annotated[str, typer.Option(help="Store: an SQLite file or a postgresql:// URL.")]
DayFirst = Annotated[
    bool | None,
    typer.Option("--day-first/--month-first", help="How to read dates such as 03/04/2025."),
]
Json = Annotated[
    str | None,
    typer.Option("--json", metavar="FILE|-", help="Write JSON to FILE, or - to show it."),
]
Months = Annotated[
    str, typer.Option(help="Months of exposure to project to: 36, or several: 12,24,36.")
]
Level = Annotated[float, typer.Option(help="Probability that an interval should hold, 0 to 1.")]
AsOf = Annotated[
    str | None, typer.Option(metavar="DATE", help="Hide all readings after this ISO 8601 date.")
]
Measured = Annotated[
    str,
    typer.Option("--property", help="As in readings.csv, or derived: sri, surface_temperature."),
]
Time = Annotated[
    Literal["month", "day", "solar", "uv"],
    typer.Option(help="What counts: months, days (quick soiling), or radiant exposure."),
]
Priors = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Table of priors to use instead of the shipped.")
]
