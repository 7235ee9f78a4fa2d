"""Which formulation leads: the probability of each rank, of those that hang side by side."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pandas as pd

from aging.comparison.family import rank_probabilities
from aging.comparison.joint import at
from aging.errors import ModelError
from aging.projection import ALL_SITES, Fit

COLUMNS = ("site", "formulation", "property", "months", "rank", "probability")


def ranks(fitted: Fit, months: float = 36.0, without: Collection[str] = ()) -> pd.DataFrame:
    """Probability of each rank (1 is best) of the state, by campaign's site and over sites.

    COLUMNS. Over sites stand the formulations of the largest set that shares its sites. without:
    formulations that are not ranked, as they fail elsewhere. ModelError where none is left.
    """
    joint, better = at(fitted, months), fitted.measured.higher_is_better is not False
    groups: dict[tuple[str, int], list[str]] = {}
    for (site, formulation), number in joint.campaign.items():
        if formulation not in without:
            groups.setdefault((site, number), []).append(formulation)
    if not groups:
        raise ModelError("no formulation is left to rank: all fail a guard-rail")
    shown = {(site, tuple(sorted(each))) for (site, _), each in groups.items()}
    largest = max((each for _, each in shown), key=lambda each: (
        len(each) * sum(other == each for _, other in shown), each,
    ))  # fmt: skip
    rows = []
    for site, each in sorted([*shown, (ALL_SITES, largest)]):
        drawn = (
            joint.over_sites(each)[1]
            if site == ALL_SITES
            else np.stack([joint.of(site, one) for one in each])
        )
        chances = rank_probabilities(drawn, higher_is_better=better)
        rows += [
            (site, one, fitted.measured.name, months, place + 1, float(chance))
            for one, chances_of_one in zip(each, chances, strict=True)
            for place, chance in enumerate(chances_of_one)
        ]
    return pd.DataFrame(rows, columns=list(COLUMNS))
