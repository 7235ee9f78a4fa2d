"""Differences, their origins, ranks and decisions as tables for a person."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Any

import pandas as pd

from aging.cli.output import screen, table
from aging.cli.results import CAUTION, figure, runs
from aging.vocabulary import Property

HEADINGS = {"batches": "batches of a formulation", "sites": "sites, difference to {}"}
WORDS = {  # of columns, as headings; others read as they are called
    "estimate": "value", "cells": "com-\nparisons", "panels": "panels\neach",
    "probability_above": "chance\nabove 0,\nor 1 of\na ratio", "probability": "chance",
    "probability_agrees": "chance\nto agree", "probability_crosses": "chance\nto reach it",
    "extra_cost_per_m2": "beyond\ncontrol,\nper m2", "read_months": "read to\nmonth",
    "cost_per_hundredth": "cost of\n0.01 of\ngain",
}  # fmt: skip
SURE, WIDE, FEW, LONG, MOST = 0.995, 118, 6, 14, 100  # of chances, width, columns, letters, rows


def differences(
    frame: pd.DataFrame, prop: Property, asked: Mapping[str, float], notes: Iterable[str]
) -> None:
    """A table for each time and target; `asked`: worthwhile and margin.

    Of many pairs those that differ most over sites; the rest are for JSON.
    """
    console, level = screen(), f"{100 * frame['level'].iloc[0]:g} %"
    one = len(frame["against"].unique()) == 1
    shown, count = _largest(frame)
    zero = f" to {frame['against'].iloc[0]}" if one else ""
    for (months, target), part in shown.groupby(["months", "target"], sort=False):
        what = {"period": f"mean of the state, to month {months:g}"}.get(
            str(target), f"{target} at {months:g} months"
        )
        title = f"{prop.label} ({prop.unit}), difference{zero}, {what}"
        console.print(title, style="bold")
        by, within = (f"{asked[name]:g}" for name in ("worthwhile", "margin"))
        grid = table([
            "formulation", "differ-\nence", "lower", "upper", "all at\nonce\nlower", "\n\nupper",
            "prob.\nbetter", f"prob.\nby\n{by}", f"prob.\nwithin\n{within}", "note",
        ])  # fmt: skip
        if console.width < WIDE:
            grid.box = None
            grid.columns[-1].max_width = 9
        grid.columns[0].min_width, grid.columns[-1].no_wrap = 15, False
        known = {(row["site"], row["formulation"], row["against"]): row
                 for row in part.to_dict("records")}  # fmt: skip
        remarks: dict[str, int] = {}
        for site, rows_ in part.groupby("site", sort=False):
            grid.add_section()
            grid.add_row("mean over sites" if site == "all" else str(site), style="bold")
            for row in rows_.to_dict("records"):
                name = row["formulation"] if one else f"{row['formulation']} - {row['against']}"
                grid.add_row(f"  {name}", *_cells(row, prop), _marks(row, remarks))
                if isinstance(worst := row["worst_site"], str):
                    there = known[worst, row["formulation"], row["against"]]
                    grid.add_row(f"  at {worst}", *_cells(there, prop), "")
        console.print(grid)
        for text, number in remarks.items():
            console.print(f"{number} {text}")
    console.print(
        f"lower, upper: {level} interval; all at once: all of a site hold with {level}\n"
        "at: the worst site, under the mean over sites\n"
        f"prob. by, within: better by {by} or more, off by less than {within} ({prop.unit})"
    )
    if count > MOST:
        console.print(f"the {MOST} largest of {count:,} differences over sites; all with --json")
    close(notes)


def _largest(frame: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """Rows of the MOST pairs that differ most over sites, at the first time; how many there are."""
    pair = ["formulation", "against"]
    over = frame[frame["site"] == "all"].drop_duplicates(pair)
    if len(over) <= MOST:
        return frame, len(over)
    first = over.loc[over["estimate"].abs().nlargest(MOST).index, pair]
    return frame.merge(first, on=pair), len(over)


def _cells(row: Mapping[Hashable, Any], prop: Property) -> list[str]:
    ends = ("estimate", "lower", "upper", "joint_lower", "joint_upper")
    return [
        *(figure(row[name], prop.decimals) for name in ends),
        *(chance(row[f"probability_{name}"]) for name in ("better", "worthwhile", "equivalent")),
    ]


def _marks(row: Mapping[Hashable, Any], remarks: dict[str, int]) -> str:
    """Numbers of a row's remarks, each told once under the table."""
    told = [one for one in str(row["notes"]).split("; ") if one]
    if row["status"] != "projected":
        told = [str(row["status"]), *told]
    return runs(sorted(remarks.setdefault(one, len(remarks) + 1) for one in told))


def parts(frame: pd.DataFrame, prop: Property, notes: Iterable[str]) -> None:
    """Where each difference comes from, a row a formulation."""
    console, level = screen(), f"{100 * frame['level'].iloc[0]:g} %"
    names = list(dict.fromkeys(frame["part"]))
    between = " " if console.width >= WIDE else "\n"
    console.print(
        f"{prop.label} ({prop.unit}), parts of the difference at {frame['months'].iloc[0]:g}"
        f" months; {level} intervals", style="bold",
    )  # fmt: skip
    grid = table(["formulation", "against", *names], left=2)
    for site, rows in frame.groupby("site", sort=False):
        grid.add_section()
        grid.add_row("mean over sites" if site == "all" else str(site), style="bold")
        for (mix, zero), each in rows.groupby(["formulation", "against"], sort=False):
            cells = {
                row.part: f"{row.estimate:+.{prop.decimals}f}\n"
                f"({row.lower:+.{prop.decimals}f}{between}{row.upper:+.{prop.decimals}f})"
                for row in each.itertuples()
            }
            grid.add_row(f"  {mix}", str(zero), *(cells[name] for name in names))
    console.print(grid)
    console.print(
        "initial, plateau, speed and drift add up to the difference of the state; removable and\n"
        "permanent are differences of losses: less is better"
    )
    close(notes)


def pooling(frame: pd.DataFrame, prop: Property, notes: Iterable[str]) -> None:
    """Whether batches and sites may be averaged, and what stands beside the mean."""
    console, remarks = screen(), dict[str, int]()
    console.print(f"{prop.label} ({prop.unit}): may they be averaged?", style="bold")
    grid = table(
        ["formulation", "verdict", "decided\nby", "p", "mean", "worst", "there", "note"], left=3
    )
    grid.columns[5].justify, grid.columns[0].min_width = "left", 15
    if console.width < WIDE:
        grid.box = None
    for (what, zero), rows_ in frame.groupby(["what", "against"], sort=False):
        grid.add_section()
        grid.add_row(HEADINGS[str(what)].format(zero), style="bold")
        for row in rows_.to_dict("records"):
            mean, there = (figure(row[n], prop.decimals) for n in ("estimate", "worst_estimate"))
            told = [one for one in row["notes"].split("; ") if one]
            grid.add_row(
                f"  {row['formulation']}", row["verdict"], _text(row["decided_by"]),
                chance(row.get(f"p_{row['decided_by']}", float("nan"))), mean,
                _text(row["worst"]), there,
                runs(sorted(remarks.setdefault(one, len(remarks) + 1) for one in told)),
            )  # fmt: skip
    console.print(grid)
    for text, number in remarks.items():
        console.print(f"{number} {text}")
    console.print(
        "a test on the readings so far, not on the projection: slopes, then intercepts, at\n"
        "0.25 (ICH Q1E), panels as the unit; where it objects the worst stands beside the\n"
        "mean (of the last visits); where it does not, that proves no agreement"
    )
    close(notes)


def ranks(frame: pd.DataFrame, notes: Iterable[str], failing: Mapping[str, Sequence[str]]) -> None:
    """Probability of each rank over sites."""
    console = screen()
    over = frame[frame["site"] == "all"]
    wide = over.pivot_table(index="formulation", columns="rank", values="probability")
    console.print(
        f"probability of each rank at {over['months'].iloc[0]:g} months, mean over sites",
        style="bold",
    )
    shown = wide.columns[:8]
    grid = table(["formulation", *(f"{rank}." for rank in shown)])
    for mix, row in wide.sort_values(list(wide.columns), ascending=False).iterrows():
        grid.add_row(str(mix), *(chance(row[rank]) for rank in shown))
    console.print(grid)
    for mix, names in failing.items():
        console.print(f"not ranked: {mix} fails {', '.join(names)}")
    close(notes)


def rows(
    title: str,
    frame: pd.DataFrame,
    decimals: Mapping[str, int],
    by: str = "",
    headings: Mapping[str, str] = MappingProxyType({}),
) -> None:
    """A plain table: text columns first, figures with their decimals (3 where not told).

    by: a column whose values stand as headings between the rows. headings: its own.
    """
    console = screen()
    console.print(title, style="bold")
    shown = frame.drop(columns=[by] if by else [])
    figures = [
        n for n in shown if pd.api.types.is_numeric_dtype(shown[n]) and shown[n].dtype != bool
    ]
    text = [name for name in shown if name not in figures]
    grid = table(
        [headings.get(str(name)) or word(name) for name in (*text, *figures)], left=len(text)
    )
    if console.width < WIDE and len(shown.columns) > FEW:
        grid.box = None
    for column, name in zip(grid.columns, text, strict=False):
        words = " ".join(map(str, (word(name), *shown[name]))).split()
        column.min_width = min(max(map(len, words), default=0), LONG)
    heading = None
    for row in frame.to_dict("records"):
        if by and row[by] != heading:
            heading = row[by]
            grid.add_section()
            grid.add_row(str(heading), style="bold")
        grid.add_row(
            *(_text(row[name]) for name in text),
            *(_figure(str(name), row[name], decimals) for name in figures),
        )
    console.print(grid)


def _figure(name: str, value: float, decimals: Mapping[str, int]) -> str:
    if name.startswith("probability"):
        return chance(value)
    return figure(value, decimals.get(name, 3))


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if pd.isna(value) else str(value)


def word(name: object) -> str:
    """A column's name as a heading."""
    return WORDS.get(str(name), str(name).replace("_", "\n"))


def close(notes: Iterable[str]) -> None:
    """Notes and the caution under a table."""
    for note in notes:
        screen().print(f"Note: {note}")
    screen().print(CAUTION, style="bold")


def chance(value: float) -> str:
    """A probability to two decimals, never a bare 0 or 1."""
    if pd.isna(value):
        return "-"
    return "> 0.99" if value > SURE else "< 0.01" if value < 1 - SURE else f"{value:.2f}"
