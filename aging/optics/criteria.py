"""Thresholds that programmes set for roof surfaces, as data, and how probably draws meet them.

criteria.csv, or a user's own table, has a row a threshold. Rows of a programme, edition, section,
slope class, `applies_to` and state (initial or aged) that share a route are met together: the route
"reflectance and emittance", or the route "SRI" at medium wind. The two are tested separately, as
0.63 and 0.75 give SRI 72, not the 75 that stands beside them. Editions change: each row shows its
own, and `checked` says whether its value was seen in published text. What meets a threshold here
is no rating. Values are tested unrounded.

default_aged.csv: what regulators assume of the aged reflectance of an unrated product.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from aging.errors import SourceError, require
from aging.optics.heat import LEAST_EMITTANCE, Array, sri, within

State = Literal["initial", "aged"]
ROUTES = {
    "reflectance and emittance": ("solar_reflectance", "thermal_emittance"),
    "SRI": ("sri",),
}
ALLOWED: dict[str, tuple[str, ...]] = {
    "slope": ("low", "steep", "any"),
    "route": tuple(ROUTES),
    "state": ("initial", "aged"),
}
CRITERION = ["programme", "edition", "section", "slope", "applies_to", "state"]
COLUMNS = [*CRITERION, "route", "quantity", "threshold", "source", "checked"]
FLOOR = 0.2  # the reflectance that stays in the default formula


def load_criteria(path: str | Path | None = None) -> pd.DataFrame:
    """The shipped table, or a user's own CSV with the same columns in any order.

    SourceError lists at once every column that is missing and every cell that is not allowed.
    """
    table = _read("criteria.csv", path)
    if missing := [name for name in COLUMNS if name not in table]:
        raise SourceError(f"criteria {path}: columns missing: {', '.join(missing)}")
    number = pd.to_numeric(table["threshold"], errors="coerce")
    most = np.where(table["quantity"] == "sri", 130.0, 1.0)
    fits = [q in ROUTES.get(r, ()) for q, r in zip(table["quantity"], table["route"], strict=True)]
    checks = [
        *((name, table[name].isin(words), ", ".join(words)) for name, words in ALLOWED.items()),
        ("edition", table["edition"] != "", "the edition that sets the threshold"),
        ("quantity", np.array(fits, bool), "; ".join(f"{r}: {q}" for r, q in ROUTES.items())),
        ("threshold", (number <= most) & (number >= 0), "0 to 1 as a fraction, SRI 0 to 130"),
    ]
    wrong = [
        f"row {row + 2}, {name}: {table[name].iloc[row]!r} is not allowed; allowed: {allowed}"
        for name, fine, allowed in checks
        for row in np.flatnonzero(~np.asarray(fine, bool))
    ]
    if wrong:
        raise SourceError(f"criteria {path}: " + "\n".join(wrong))
    return table.assign(threshold=number)[COLUMNS]


def probability_met(
    criteria: pd.DataFrame,
    reflectance: npt.ArrayLike,
    emittance: npt.ArrayLike,
    state: State = "aged",
) -> pd.DataFrame:
    """How probably surfaces meet each route of the criteria that speak of their `state`.

    reflectance : draws, fractions 0 to 1.
    emittance : draws of the same shape or one value, above 0.1 to 1.
    Returns a row a route: the criterion's columns, route, thresholds as text, probability (share of
    the draws that meet all of its thresholds), source, checked.
    """
    require(state in ALLOWED["state"], "state", state, ALLOWED["state"])
    known = dict(
        zip(
            ("solar_reflectance", "thermal_emittance", "sri"),
            np.broadcast_arrays(
                within("solar reflectance", reflectance),
                within("thermal emittance", emittance, LEAST_EMITTANCE, above=True),
                sri(reflectance, emittance),
            ),
            strict=True,
        )
    )
    rows = criteria[criteria["state"] == state]
    found = []
    for keys, route in rows.groupby([*CRITERION, "route"], sort=False, dropna=False):
        pairs = list(zip(route["quantity"], route["threshold"], strict=True))
        met = np.all([known[name] >= least for name, least in pairs], axis=0)
        found.append(
            {
                **dict(zip([*CRITERION, "route"], keys, strict=True)),
                "thresholds": ", ".join(f"{name} {least:g} or more" for name, least in pairs),
                "probability": float(met.mean()),
                "source": "; ".join(dict.fromkeys(route["source"])),
                "checked": "; ".join(dict.fromkeys(route["checked"])),
            }
        )
    columns = [*CRITERION, "route", "thresholds", "probability", "source", "checked"]
    return pd.DataFrame(found, columns=columns)


@dataclass(frozen=True)
class DefaultAged:
    """What a regulator assumes of an unrated product: 0.2 + beta (initial - 0.2)."""

    programme: str
    edition: str
    section: str
    product: str
    beta: float
    source: str
    checked: str

    def reflectance(self, initial: npt.ArrayLike) -> Array:
        """Default aged solar reflectance; a comparator, never a prediction."""
        return FLOOR + self.beta * (within("initial solar reflectance", initial) - FLOOR)

    def __str__(self) -> str:
        return (
            f"{self.programme}, {self.edition}, default for {self.product} (beta {self.beta:g}): "
            "what is assumed of an unrated product, not a prediction"
        )


def default_aged(path: str | Path | None = None) -> tuple[DefaultAged, ...]:
    """The shipped defaults, or those of a user's own CSV with the same columns."""
    table = _read("default_aged.csv", path)
    names = list(DefaultAged.__dataclass_fields__)
    if missing := [name for name in names if name not in table]:
        raise SourceError(f"defaults {path}: columns missing: {', '.join(missing)}")
    beta = pd.to_numeric(table["beta"], errors="coerce")
    if (wrong := ~beta.between(0, 1)).any():
        seen = ", ".join(map(repr, table["beta"][wrong]))
        raise SourceError(f"defaults {path}: beta: {seen} is not allowed; allowed: 0 to 1")
    rows = table.assign(beta=beta)[names].to_dict("records")
    return tuple(DefaultAged(**{str(name): cell for name, cell in row.items()}) for row in rows)


def _read(shipped: str, path: str | Path | None) -> pd.DataFrame:
    """All cells as text, empty ones as ""."""
    try:
        with (Path(path) if path else files("aging.optics").joinpath(shipped)).open("rb") as file:
            return pd.read_csv(file, dtype=str, keep_default_na=False)
    except (OSError, ValueError) as error:
        raise SourceError(f"{path}: cannot be read as CSV: {error}") from error
