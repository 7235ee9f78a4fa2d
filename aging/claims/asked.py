"""What a gate is asked, the table of gates, and how its answers are worded."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from aging.claims.evidence import Evidence
from aging.cube import moments
from aging.vocabulary import DAYS_PER_MONTH

GATES = pd.read_csv(Path(__file__).with_name("gates.csv")).set_index("gate")
LIMITS: dict[str, float] = dict(zip(GATES.index, GATES["limit"].tolist(), strict=True))
NAMED = 5
Answer = tuple[bool, str, str, str]  # met, seen, needed, how or when


@dataclass(frozen=True)
class Asked:
    """One gate, asked of a formulation: rows are its counted readings, seen its months by site."""

    evidence: Evidence
    formulation: str
    basis: str
    months: float
    rating: str
    share: float
    limit: float

    @property
    def rows(self) -> pd.DataFrame:
        """Counted readings of the formulation."""
        return self.evidence.of(self.formulation)

    @property
    def seen(self) -> pd.Series:
        """Months read at each site of the formulation."""
        return self.rows.groupby("site")["months"].max()

    def day(self, months: float) -> str:
        """By when all of its sites have been exposed so long, as text."""
        last = moments(self.rows["exposed_on"]).max()
        if pd.isna(last):
            return f"{months:g} months after its panels are exposed"
        return f"from {last + pd.Timedelta(days=math.ceil(months * DAYS_PER_MONTH)):%Y-%m-%d} on"


def counted(number: float, what: str) -> str:
    """A number and the thing it counts."""
    return f"{number:g} {what if number == 1 else what + 's'}"


def listed(names: Iterable[Any]) -> str:
    """Names, the first few of many."""
    every = [str(name) for name in names]
    return ", ".join(every[:NAMED]) + (
        f" and {len(every) - NAMED} more" if len(every) > NAMED else ""
    )
