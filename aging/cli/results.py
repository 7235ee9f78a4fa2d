"""Projections and losses as tables for a person."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
from rich.console import Console
from rich.table import Table

from aging.cli.output import screen, table
from aging.vocabulary import property_named

CAUTION = "A projection is not a rating."
ENDS = ("lower", "upper")
FIGURES = ("estimate", *ENDS)
BOUND = "one_sided_bound"
NARROW = {"removable": "remov-\nable", "permanent": "perma-\nnent"}
TARGETS = (
    "state: mean of the formulation at that site on an average day",
    "reading: mean of its panels as one visit would read it",
)
Row = Mapping[Hashable, Any]


@dataclass(frozen=True)
class Shape:
    """Columns of a table: figures of each target or part (`kind`), then others; how to read it."""

    kind: str
    figures: Mapping[str, Sequence[str]]
    others: Mapping[str, str]
    legend: Sequence[str]


PROJECTED = Shape(
    "target",
    {"state": (*FIGURES, BOUND), "reading": ENDS},
    {"panels": "n_panels", "read to\nmonth": "observed_months"},
    (*TARGETS, "{bound}: bound of the state on its worse side alone, held with {level}"),
)
LOST = Shape(
    "part",
    dict.fromkeys(("total", "removable", "permanent"), FIGURES),
    {},
    (
        "total: what the state lost since new",
        "removable: what washing would give back of it; permanent: what it would not",
    ),
)


def show_projection(frame: pd.DataFrame, notes: Sequence[str]) -> None:
    """One table a month: rows formulation within site, columns of the value or of its loss."""
    _show(frame, "projected", LOST if "part" in frame else PROJECTED, notes)


def _show(frame: pd.DataFrame, what: str, shape: Shape, notes: Sequence[str]) -> None:
    console = screen()
    name, _, kind = str(frame["property"].iloc[0]).partition(" ")
    prop, level = property_named(name), f"{100 * frame['level'].iloc[0]:g} %"
    label, unit, decimals = f"{prop.label} {kind}".strip(), prop.unit, prop.decimals
    if kind == "retention":
        unit, decimals = "%", 1
        frame = frame.assign(**{column: 100 * frame[column] for column in (*FIGURES, BOUND)})
    bound = "at most" if prop.higher_is_better is False else "at least"
    for months, part in frame.groupby("months", sort=False):
        title = f"{label} ({unit}), {what} at {months:g} months of exposure; {level} intervals"
        console.print(title, style="bold")
        _month(console, part.to_dict("records"), shape, bound, decimals)
    for text in shape.legend:
        console.print(text.format(bound=bound, level=level))
    _list(console, (("Note:", note) for note in notes))
    console.print(CAUTION, style="bold")


def _month(console: Console, rows: Sequence[Row], shape: Shape, bound: str, decimals: int) -> None:
    columns = [(kind, figure) for kind, figures in shape.figures.items() for figure in figures]
    words = {BOUND: bound, **NARROW}
    headers = []
    for kind, (opening, *rest) in shape.figures.items():
        start = words.get(kind, kind)
        headers += [start if opening == "estimate" else f"{start}\n{opening}"]
        headers += [words.get(one, one) for one in rest]
    grid = table(["formulation", *headers, *shape.others, "note"])
    numbered: dict[str, int] = {}
    site = None
    for kinds in _in_order(rows, shape.kind):
        first = next(iter(kinds.values()))
        if first["site"] != site:
            site = first["site"]
            grid.add_section()
            grid.add_row("mean over sites" if site == "all" else site, style="bold")
        marks = [numbered.setdefault(remark, len(numbered) + 1) for remark in _remarks(first)]
        grid.add_row(
            f"  {first['formulation']}",
            *(figure(kinds[kind][name], decimals) for kind, name in columns),
            *(_fact(name, first[name]) for name in shape.others.values()),
            runs(sorted(marks)),
        )
    console.print(grid)
    _list(console, ((str(number), remark) for remark, number in numbered.items()))


def _in_order(rows: Sequence[Row], kind: str) -> list[dict[str, Row]]:
    """The rows of each series by kind, site by site, the mean over sites last."""
    series: dict[tuple[str, str], dict[str, Row]] = {}
    for row in rows:
        series.setdefault((row["site"], row["formulation"]), {})[row[kind]] = row
    sites = [*dict.fromkeys(site for site, _ in series if site != "all"), "all"]
    return [series[key] for key in sorted(series, key=lambda key: sites.index(key[0]))]


def _list(console: Console, items: Iterable[tuple[str, str]]) -> None:
    """A word and a text a line, the text's further lines under its first."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(justify="right", no_wrap=True)
    grid.add_column(overflow="fold")
    for word, text in items:
        grid.add_row(word, text)
    if grid.row_count:
        console.print(grid)


def _remarks(row: Row) -> Iterator[str]:
    if row["status"] != "projected":
        yield row["status"]
    if isinstance(row["notes"], str):
        yield from filter(None, row["notes"].split("; "))


def runs(numbers: Sequence[int]) -> str:
    """Ascending numbers, those that follow each other as "3-5"."""
    found: list[list[int]] = []
    for number in numbers:
        if found and number == found[-1][-1] + 1:
            found[-1] = [found[-1][0], number]
        else:
            found.append([number])
    return " ".join("-".join(map(str, run)) for run in found)


def figure(value: float, decimals: int) -> str:
    """A number, or a hyphen where there is none."""
    return "-" if pd.isna(value) else f"{value:.{decimals}f}"


def _fact(name: str, value: float) -> str:
    if name == "n_panels":
        return str(value)
    if name == "observed_months":
        return f"{value:.1f}"
    return "> 0.99" if value > 0.99 else "< 0.01" if value < 0.01 else figure(value, 2)  # noqa: PLR2004
