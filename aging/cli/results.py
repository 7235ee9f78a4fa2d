"""Projections and differences as tables for a person."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from typing import Any

import pandas as pd
from rich.console import Console

from aging.cli.output import screen, table
from aging.vocabulary import PROPERTIES

CAUTION = "A projection is not a rating."
TARGETS = {
    "state": "mean of the formulation at that site on an average day",
    "reading": "mean of its panels as one visit would read it",
}
ENDS = ("lower", "upper")
Row = Mapping[Hashable, Any]


def show_projection(frame: pd.DataFrame, notes: Sequence[str]) -> None:
    """One table a month: rows formulation within site, columns state and reading."""
    _show(frame, "projected", {"panels": "n_panels", "read to\nmonth": "observed_months"}, notes)


def show_comparison(frame: pd.DataFrame, notes: Sequence[str]) -> None:
    """One table a month: difference to the control, and the probability of being better."""
    control = ", ".join(frame["control"].dropna().unique())
    what = f"difference to the control ({control}), projected"
    _show(frame, what, {"panels": "n_panels", "prob.\nbetter": "probability_better"}, notes)


def _show(frame: pd.DataFrame, what: str, extra: Mapping[str, str], notes: Sequence[str]) -> None:
    console = screen()
    for months, part in frame.groupby("months", sort=False):
        rows = part.to_dict("records")
        prop, level = PROPERTIES[rows[0]["property"]], rows[0]["level"]
        title = (
            f"{prop.label} ({prop.unit}), {what} at {months:g} months of exposure; "
            f"{100 * level:g} % intervals"
        )
        _month(console, rows, prop.decimals, title, extra)
    for target, meaning in TARGETS.items():
        console.print(f"{target}: {meaning}")
    for note in notes:
        console.print(f"Note: {note}")
    console.print(CAUTION, style="bold")


def _month(
    console: Console, rows: Sequence[Row], decimals: int, title: str, extra: Mapping[str, str]
) -> None:
    headers = ["formulation", "state", *(f"{target}\n{end}" for target in TARGETS for end in ENDS)]
    grid = table([*headers, *extra, "note"])
    readings = {
        (row["site"], row["formulation"]): row for row in rows if row["target"] == "reading"
    }
    numbered: dict[str, int] = {}
    states = [row for row in rows if row["target"] == "state"]
    sites = list(dict.fromkeys(row["site"] for row in states))
    site = None
    for state in sorted(states, key=lambda row: (row["site"] == "all", sites.index(row["site"]))):
        if state["site"] != site:
            site = state["site"]
            grid.add_section()
            grid.add_row("mean over sites" if site == "all" else site, style="bold")
        reading = readings[site, state["formulation"]]
        figures = (state["estimate"], *(row[end] for row in (state, reading) for end in ENDS))
        marks = (numbered.setdefault(remark, len(numbered) + 1) for remark in _remarks(state))
        grid.add_row(
            f"  {state['formulation']}",
            *(figure(value, decimals) for value in figures),
            *(_fact(name, state[name]) for name in extra.values()),
            " ".join(map(str, sorted(marks))),
        )
    console.print(title, style="bold")
    console.print(grid)
    for remark, number in numbered.items():
        console.print(f"{number:>3} {remark}")


def _remarks(row: Row) -> Iterator[str]:
    if row["status"] != "projected":
        yield row["status"]
    if isinstance(row["notes"], str):
        yield from filter(None, row["notes"].split("; "))


def figure(value: float, decimals: int) -> str:
    """A number, or a hyphen where there is none."""
    return "-" if pd.isna(value) else f"{value:.{decimals}f}"


def _fact(name: str, value: float) -> str:
    if name == "n_panels":
        return str(value)
    if name == "observed_months":
        return f"{value:.1f}"
    return "> 0.99" if value > 0.99 else "< 0.01" if value < 0.01 else f"{value:.2f}"  # noqa: PLR2004
