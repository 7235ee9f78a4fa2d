"""How the numbers are made, told by the objects that make them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from aging.checks import RULES
from aging.claims import GATES
from aging.comparison.guards import limits
from aging.decay.paths import COURSES
from aging.decay.priors import priors_for
from aging.optics.criteria import default_aged, load_criteria
from aging.vocabulary import Property

SPAN = 36.0
TWO_THIRDS = 2 / 3


def courses() -> pd.DataFrame:
    """Columns name, equation, about."""
    names = ["name", "equation", "about"]
    rows = [[getattr(one, name) for name in names] for one in COURSES.values()]
    return pd.DataFrame(rows, columns=names)


def shares(prop: Property) -> pd.DataFrame:
    """Share of the loss of each course with the centre of its prior: months, share, course."""
    months, priors = np.linspace(0, SPAN, 109), priors_for(prop)
    return pd.concat([
        pd.DataFrame({
            "months": months, "course": name,
            "share": one.phi(np.array([priors.parameter(name)[0]]), months, SPAN)[0],
        })
        for name, one in COURSES.items()
    ])  # fmt: skip


def reached(shares: pd.DataFrame) -> pd.Series:
    """Month at which each course has run through two thirds of its loss; nan beyond the span."""
    far = shares[shares["share"] >= TWO_THIRDS]
    return far.groupby("course", sort=False)["months"].min()


def held(found: pd.DataFrame) -> pd.DataFrame:
    """Share of intervals that held: course, and a column of each number of months known."""
    wide = found.pivot_table("coverage", "course", "cut", sort=False)
    return wide.rename(columns=str).reset_index()


def priors(prop: Property, climate: str) -> pd.DataFrame:
    """Priors of a property: quantity, value, spread, unit, source."""
    return priors_for(prop, climate=climate).table.reset_index()


def rules() -> dict[str, pd.DataFrame]:
    """Tables of rules that are data, as they stand in the package, by the keys of TABLE_NAMES."""
    return {
        "gates": GATES.reset_index(),
        "checks": RULES.reset_index(),
        "guards": limits(),
        "criteria": load_criteria(),
        "defaults": pd.DataFrame([vars(one) for one in default_aged()]),
    }
