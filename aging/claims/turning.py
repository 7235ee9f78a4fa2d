"""Which visit since a claim was made moved what is projected for it most, for the worse."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd

from aging.claims.record import Claim


@dataclass(frozen=True)
class Turn:
    """A day's visit and the mean over the claim's sites of a visit's reading, before and after it.

    sites: read that day, the one that moved it most first. In the property's unit.
    """

    on: str
    sites: tuple[str, ...]
    before: float
    after: float


def turning_visit(
    moved: pd.DataFrame, claim: Claim, new: Collection[tuple[str, str]], better: int
) -> Turn | None:
    """The visit among `new` that moved a claim's mean most for the worse; None without such.

    moved: of `aging.projection.movement` at the claimed month. new: site and day (ISO 8601) of each
    visit that the claim did not know. better: -1 where lower is better, else 1.
    """
    mine = moved[
        (moved["formulation"] == claim.formulation) & moved["site"].isin(claim.sites)
        & (moved["target"] == "reading") & (moved["months"] == claim.months)
    ]  # fmt: skip
    known = mine.pivot_table(index="as_of", columns="site", values="estimate").sort_index().ffill()
    if set(known) != set(claim.sites):
        return None
    drawn, days = known.to_numpy(float), list(map(str, known.index))
    place = {str(site): at for at, site in enumerate(known.columns)}
    step = np.diff(better * drawn, axis=0, prepend=np.nan)
    fell = {day: step[at].mean() for at, day in enumerate(days) if day in {on for _, on in new}}
    worse = {day: by for day, by in fell.items() if by < 0}
    if not worse:
        return None
    on = min(worse, key=worse.__getitem__)
    at = days.index(on)
    read = sorted((site for site, day in new if day == on and site in place),
                  key=lambda site: step[at, place[site]])  # fmt: skip
    return Turn(on, tuple(read), float(drawn[at - 1].mean()), float(drawn[at].mean()))
