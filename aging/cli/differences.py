"""Differences, their origins, ranks and decisions as tables for a person."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

from aging.cli.output import screen, table
from aging.cli.results import CAUTION, figure
from aging.vocabulary import Property

SURE = 0.995


def differences(
    frame: pd.DataFrame, prop: Property, asked: Mapping[str, float], notes: Iterable[str]
) -> None:
    """A table for each time and target; `asked`: worthwhile and margin."""
    console, level = screen(), f"{100 * frame['level'].iloc[0]:g} %"
    one = len(frame["against"].unique()) == 1
    zero = f" to {frame['against'].iloc[0]}" if one else ""
    for (months, target), part in frame.groupby(["months", "target"], sort=False):
        what = {"period": f"mean of the state, to month {months:g}"}.get(
            str(target), f"{target} at {months:g} months"
        )
        title = f"{prop.label} ({prop.unit}), difference{zero}, {what}"
        console.print(title, style="bold")
        columns = [
            "formulation", "differ-\nence", "lower", "upper", "all at once\nlower", "upper",
            "prob.\nbetter", f"prob. by\n{asked['worthwhile']:g}",
            f"prob.\nin {asked['margin']:g}", "worst site", "note",
        ]  # fmt: skip
        grid = table(columns)
        remarks: dict[str, int] = {}
        for site, rows_ in part.groupby("site", sort=False):
            grid.add_section()
            grid.add_row("mean over sites" if site == "all" else str(site), style="bold")
            for row in rows_.to_dict("records"):
                name = row["formulation"] if one else f"{row['formulation']} - {row['against']}"
                grid.add_row(f"  {name}", *_cells(row, prop), _marks(row, remarks))
        console.print(grid)
        for text, number in remarks.items():
            console.print(f"{number} {text}")
    console.print(f"lower, upper: {level} interval; all at once: all of a site hold with {level}")
    close(notes)


def _cells(row: Mapping[Hashable, Any], prop: Property) -> list[str]:
    ends = ("estimate", "lower", "upper", "joint_lower", "joint_upper")
    worst = ""
    if isinstance(row["worst_site"], str):
        worst = f"{figure(row['worst_estimate'], prop.decimals)} {row['worst_site']}"
    return [
        *(figure(row[name], prop.decimals) for name in ends),
        *(chance(row[f"probability_{name}"]) for name in ("better", "worthwhile", "equivalent")),
        worst,
    ]


def _marks(row: Mapping[Hashable, Any], remarks: dict[str, int]) -> str:
    """Numbers of a row's remarks, each told once under the table."""
    told = [one for one in str(row["notes"]).split("; ") if one]
    if row["status"] != "projected":
        told = [str(row["status"]), *told]
    return " ".join(str(remarks.setdefault(one, len(remarks) + 1)) for one in told)


def parts(frame: pd.DataFrame, prop: Property, notes: Iterable[str]) -> None:
    """Where each difference comes from, a row a formulation."""
    console, level = screen(), f"{100 * frame['level'].iloc[0]:g} %"
    names = list(dict.fromkeys(frame["part"]))
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
                f"({row.lower:+.{prop.decimals}f} {row.upper:+.{prop.decimals}f})"
                for row in each.itertuples()
            }
            grid.add_row(f"  {mix}", str(zero), *(cells[name] for name in names))
    console.print(grid)
    console.print(
        "initial, plateau, speed and drift add up to the difference of the state; removable and\n"
        "permanent are differences of losses: less is better"
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
    title: str, frame: pd.DataFrame, decimals: Mapping[str, int], notes: Iterable[str] = ()
) -> None:
    """A plain table: text columns first, figures with their decimals (3 where not told)."""
    console = screen()
    console.print(title, style="bold")
    text = [name for name in frame if not pd.api.types.is_numeric_dtype(frame[name])]
    figures = [name for name in frame if name not in text]
    grid = table([*(word(name) for name in (*text, *figures))], left=len(text))
    for row in frame.to_dict("records"):
        grid.add_row(
            *("" if pd.isna(row[name]) else str(row[name]) for name in text),
            *(figure(row[name], decimals.get(str(name), 3)) for name in figures),
        )
    console.print(grid)
    close(notes)


def word(name: object) -> str:
    """A column's name as a heading."""
    return str(name).replace("_", "\n", 1).replace("_", " ")


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
