"""How projections moved, as a table for a person."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from aging.cli.output import screen, table
from aging.cli.results import CAUTION, figure
from aging.vocabulary import Property

HEADERS = ("as of", "read to\nmonth", "projected", "lower", "upper")


def show(frame: pd.DataFrame, prop: Property, level: float, notes: Sequence[str]) -> None:
    """A block of rows a series, one a past visit; what was read in the end beside its name."""
    console = screen()
    for months, part in frame[frame["target"] == "reading"].groupby("months"):
        grid = table(HEADERS)
        for (formulation, site), rows in part.groupby(["formulation", "site"], sort=False):
            read = figure(rows["later"].iloc[0], prop.decimals)
            where = "mean over sites" if site == "all" else site
            grid.add_section()
            grid.add_row(f"{formulation}, {where}", style="bold")
            for row in rows.to_dict("records"):
                ends = (figure(row[name], prop.decimals) for name in ("estimate", "lower", "upper"))
                grid.add_row(f"  {row['as_of']}", f"{row['observed_months']:.1f}", *ends)
            if read != "-":
                grid.add_row(f"  read at {months:g} months", "", read)
        console.print(
            f"{prop.label} ({prop.unit}): a visit's reading at {months:g} months of exposure, "
            f"projected as of each past visit; {100 * level:g} % intervals",
            style="bold",
        )
        console.print(grid)
    if frame.empty:
        console.print("No visit came before the months asked for.")
    for note in notes:
        console.print(f"Note: {note}")
    console.print(CAUTION, style="bold")
