"""The score board as a table for a person."""

from __future__ import annotations

from collections.abc import Sequence

from aging.backtesting import MODEL, Backtest
from aging.cli.output import screen, table
from aging.cli.results import figure
from aging.vocabulary import PROPERTIES

FIGURES = {
    "abs_error": "mean abs.\nerror",
    "bias": "bias",
    "crps": "CRPS",
    "interval_score": "interval\nscore",
    "coverage": "held",
    "below": "below\nbound",
    "n_missing": "not\nmade",
}
SHARES = ("coverage", "below")


def show(found: Backtest, notes: Sequence[str]) -> None:
    """A block of rows a cut, the model first; then how to read it."""
    console, prop = screen(), PROPERTIES[found.property]
    percent = f"{100 * found.level:g} %"
    grid, counted = table(["forecaster", *FIGURES.values()]), []
    for cut, part in found.board.groupby("cut"):
        rows = part.to_dict("records")
        model = rows[0]
        counted.append(
            f"month {cut:g}: {model['n_series']} series, {model['n_forecasts']} later readings; "
            f"{MODEL} held {model['coverage']:.2f} "
            f"({model['coverage_lower']:.2f} to {model['coverage_upper']:.2f})"
        )
        grid.add_section()
        grid.add_row(f"known to month {cut:g}", style="bold")
        for row in rows:
            cells = (_cell(name, row[name], prop.decimals) for name in FIGURES)
            grid.add_row(f"  {row['forecaster']}", *cells)
    console.print(
        f"{prop.label} ({prop.unit}): later means of each formulation against what was forecast "
        f"from the months known; {percent} intervals",
        style="bold",
    )
    console.print(grid)
    for text in (*counted, *_reading(percent), *(f"Note: {note}" for note in notes)):
        console.print(text)


def _reading(percent: str) -> tuple[str, ...]:
    held = f"held: share of the intervals that held the later reading; {percent} is promised."
    counted = "Its 95 % range counts series (a formulation at a site in a campaign), not readings."
    below = "below bound: share of readings under the one-sided 95 % lower bound; 0.05 is promised."
    better = "error, CRPS, interval score: the smaller the better; bias: forecast minus reading;"
    return f"{held} {counted}", below, f"{better} not made: forecasts that could not be given."


def _cell(name: str, value: float, decimals: int) -> str:
    if name == "n_missing":
        return str(value)
    return figure(value, 2 if name in SHARES else decimals)
