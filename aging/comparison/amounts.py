"""How large a difference has to be to matter, by property: data, each with why."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pandas as pd

TABLE = Path(__file__).with_name("amounts.csv")


@cache
def amounts() -> dict[str, tuple[float, str]]:
    """Amount (in the property's unit) and its source by property; none of ratings."""
    table = pd.read_csv(TABLE)
    return dict(
        zip(table["property"], zip(table["amount"], table["source"], strict=True), strict=True)
    )


def worthwhile(name: str) -> float:
    """Least difference of a property that matters, in its unit: also the margin of as good as."""
    return amounts()[name][0]


def told(name: str, unit: str) -> str:
    """The amount with its unit and why, for a note."""
    amount, source = amounts()[name]
    amount_and_unit = f"{amount:g}" + f" ({unit})" * (unit != "1")
    return f"a difference that matters, by default: {amount_and_unit}, {source}"
