"""What the model believes before it sees a reading: a table of data, printed with every result.

The table (priors.csv, or one like it given by the user) has columns property, time, quantity,
value, spread, unit, source, and may have climate: a row of a climate (aging/climate/zones.py)
stands before the row of climate "*". Rows of property "*" serve every property without rows of
its own; their unit "usual band" is the width of the band in which the property usually lies.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from aging.errors import CallError, SourceError
from aging.vocabulary import Property

TimeUnit = Literal["month", "day"]
ANY = "*"
COLUMNS = ("property", "time", "quantity", "value", "spread", "unit", "source")


@dataclass(frozen=True)
class Priors:
    """Prior values and spreads of one property on one scale of time, in the property's unit."""

    table: pd.DataFrame
    time: TimeUnit

    @cached_property
    def _values(self) -> dict[str, float]:
        return dict(zip(self.table.index, self.table["value"].astype(float), strict=True))

    @cached_property
    def _spreads(self) -> dict[str, float]:
        return dict(zip(self.table.index, self.table["spread"].astype(float), strict=True))

    def value(self, quantity: str) -> float:
        """Prior centre (or, for a spread between things, the spread itself)."""
        return self._values[quantity]

    def spread(self, quantity: str) -> float:
        """Prior standard deviation, of the log where the table's unit says so."""
        return self._spreads[quantity]

    def parameter(self, course: str) -> tuple[float, float]:
        """Prior centre and spread of the log of a course's parameter."""
        usual = "exponent" if course == "power" else "rate"
        own = f"rate_{course}"
        name = own if own in self._values else usual
        return self._values[name], self._spreads[name]

    @property
    def courses(self) -> dict[str, float]:
        """Prior weight of each course of loss that has any, summing to 1."""
        rows = self.table[self.table.index.str.startswith("weight_")]["value"]
        rows = rows[rows > 0]
        names = rows.index.str.removeprefix("weight_")
        return dict(zip(names, (rows / rows.sum()).tolist(), strict=True))


@cache
def _shipped() -> pd.DataFrame:
    with files("aging.decay").joinpath("priors.csv").open(encoding="utf-8") as handle:
        return pd.read_csv(handle)


def priors_for(
    prop: Property,
    time: TimeUnit = "month",
    path: str | Path | None = None,
    climate: str = ANY,
) -> Priors:
    """Priors of a property in a climate; SourceError where a table lacks a column or a quantity."""
    table = _shipped()
    if path is not None:
        try:
            table = pd.read_csv(path)
        except (OSError, ValueError) as error:
            raise SourceError(f"priors {path}: cannot be read as CSV: {error}") from error
        if missing := sorted(set(COLUMNS) - set(table.columns)):
            raise SourceError(f"priors {path}: columns missing: {', '.join(missing)}")
    table = table if "climate" in table else table.assign(climate=ANY)
    table = table[(table["time"] == time) & table["climate"].isin([climate, ANY])]
    table = table.sort_values("climate", key=lambda name: name != climate, kind="stable")
    table = table.drop_duplicates(["property", "quantity"])
    rows = table[table["property"].isin([prop.name, ANY])].sort_index()
    own = rows[rows["property"] == prop.name]
    chosen = (own if len(own) else rows).set_index("quantity")[
        ["value", "spread", "unit", "source"]
    ]
    if chosen.empty:
        raise CallError(f"priors: none for {prop.name} per {time}; give a table with such rows")
    wanted = _shipped().query("property == '*'")["quantity"]
    if missing := [name for name in wanted if name not in chosen.index]:
        raise SourceError(f"priors of {prop.name} per {time}: rows missing: {', '.join(missing)}")
    return Priors(chosen if len(own) else _in_band_units(chosen, prop), time)


def _in_band_units(table: pd.DataFrame, prop: Property) -> pd.DataFrame:
    """Turn shares of the usual band into the property's unit and its worse direction."""
    band = prop.usual_high - prop.usual_low
    sign = {True: 1.0, False: -1.0, None: 0.0}[prop.higher_is_better]
    in_band = table["unit"].str.startswith("usual band")
    in_log = table["unit"].str.endswith("log")
    worse = table.index.isin(["loss", "drift", "drift_wide", "late"])
    value = table["value"] * np.where(in_band, band, 1.0) * np.where(worse, sign, 1.0)
    return table.assign(
        value=value + np.where(table.index == "initial", prop.usual_low, 0.0),
        spread=table["spread"] * np.where(in_band & ~in_log, band, 1.0),
        unit=table["unit"].str.replace("usual band", prop.unit),
    )
