"""Does a formulation meet what programmes ask of a roof surface? Each route by itself.

Probabilities are those of the mean over sites as one visit reads it (`optics.criteria`), with the
emittance of the formulation drawn along (`projection.balance`): "initial" thresholds against the
value when new, "aged" ones against the claimed month. Met at 0.95 or more, not met at 0.05 or less,
undecided between. It is no rating.
"""

from __future__ import annotations

import zlib

import numpy as np
import pandas as pd

from aging.claims.proposal import floored, reading_draws
from aging.errors import require
from aging.optics.criteria import CRITERION, State, load_criteria, probability_met
from aging.projection import ALL_SITES, Fit
from aging.projection.balance import balance
from aging.vocabulary import property_named

MET, NOT_MET = 0.95, 0.05
SHARE = property_named("solar_reflectance")  # shares are floored like it, to 0.01
COLUMNS = (
    *CRITERION, "route", "thresholds", "probability", "verdict", "emittance", "source", "checked",
)  # fmt: skip


def verdicts(
    fit: Fit, formulation: str, months: float = 36.0, *, criteria: pd.DataFrame | None = None
) -> pd.DataFrame:
    """A row a criterion and route (COLUMNS); verdict is met, undecided or not met.

    fit: of solar reflectance, told as such. criteria: as from `optics.criteria.load_criteria`.
    """
    require(fit.measured.name == "solar_reflectance", "property", fit.measured.name,
            "solar_reflectance")  # fmt: skip
    known = balance(property_named("sri"), "medium", fit.exposure, {formulation})
    emittance = known.emittances[formulation]
    table, found = load_criteria() if criteria is None else criteria, []
    ages: dict[State, float] = {"initial": 0.0, "aged": months}
    for state, month in ages.items():
        drawn = reading_draws(fit, month)
        require(formulation in drawn, "formulation", formulation, sorted(drawn))
        reflectance = np.clip(drawn[formulation][ALL_SITES], 0, 1)
        te = emittance.draws(reflectance.shape, zlib.crc32(formulation.encode()))
        found.append(probability_met(table, reflectance, te, state))
    rows = pd.concat(found, ignore_index=True)
    chance = rows["probability"]
    verdict = np.select([chance >= MET, chance <= NOT_MET], ["met", "not met"], "undecided")
    return rows.assign(verdict=verdict, emittance=str(emittance))[list(COLUMNS)]


def named(row: pd.Series) -> str:
    """Name of a criterion's route, as a claim keeps it."""
    parts = (row[one] for one in ("programme", "edition", "section"))
    told = ", ".join(str(part) for part in parts if isinstance(part, str) and part)
    where = f"; {row['applies_to']}" if row["applies_to"] else ""
    return f"{told}; {row['slope']} slope{where}; {row['state']}; {row['route']}"


def sentence(row: pd.Series, formulation: str, months: float, sites: int) -> str:
    """What may be said of a criterion that is met; CallError where it is not."""
    require(
        row["verdict"] == "met", "criterion", f"{named(row)}: {row['verdict']}", "one that is met"
    )
    unsure = " Edition and value to be checked before use." * ("check before use" in row["checked"])
    chance = floored(row["probability"], SHARE)
    return (
        f"{formulation}: projected to reach {row['thresholds']} at {months:g} months "
        f"({named(row)}) with a probability of {chance:.2f}, as the mean of {sites} sites and with "
        f"{row['emittance']}. Not measured then, not a rating.{unsure}"
    )
