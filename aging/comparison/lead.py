"""Who leads each trial, how surely, and by when the lead over the second would be told.

Expected, not promised: the month is the first planned visit by which a plan like the trial's shows
a true difference as large as the one estimated with a chance of POWER (`design`), with the spreads
of the fit and whatever was read so far left out of account.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd

from aging.comparison.design import SCHEDULE, Plan, of_fit, smallest_difference
from aging.comparison.family import rank_probabilities
from aging.comparison.joint import Joint, at
from aging.projection import Fit
from aging.standing import WORST_FIRST, Status

POWER = 0.80


@dataclass(frozen=True)
class Lead:
    """One trial at one time, mean over the sites that its formulations share.

    chances: formulation, probability of being best, the likeliest first; those that fail elsewhere
    are not among them. gap, lower, upper: first minus second, nan where there is one alone. read:
    months that every series has been read. told_by: month by which the gap would be told, nan where
    none does, where it is told already (its interval leaves out 0) or the property is calculated.
    """

    chances: pd.DataFrame
    sites: tuple[str, ...]
    gap: float
    lower: float
    upper: float
    read: float
    status: Status
    told_by: float

    @property
    def told(self) -> bool:
        """Whether the first is told from the second already."""
        return self.lower > 0 or self.upper < 0


def leads(
    fitted: Fit, months: float = 36.0, level: float = 0.90, without: Collection[str] = ()
) -> tuple[Lead, ...]:
    """The lead of each trial at a month, the least read trial first; without: not to be ranked."""
    joint = at(fitted, months)
    trials: dict[str, list[frozenset[str]]] = {}
    for number in dict.fromkeys(joint.campaign.values()):
        here = {name for (_, name), its in joint.campaign.items() if its == number}
        here -= set(without)
        if here:
            trials.setdefault(joint.trials[min(here)], []).append(frozenset(here))
    found = [_lead(fitted, joint, sets, months, level) for sets in trials.values()]
    return tuple(sorted(found, key=lambda one: one.read))


def _lead(
    fitted: Fit, joint: Joint, sets: list[frozenset[str]], months: float, level: float
) -> Lead:
    """Of the set of formulations that hangs side by side at most places."""
    counts = [(len(one) * sum(one <= other for other in sets), sorted(one)) for one in sets]
    names = max(counts)[1]
    sites, drawn = joint.over_sites(names)
    better = fitted.measured.higher_is_better is not False
    best = rank_probabilities(drawn, higher_is_better=better)[:, 0]
    order = np.lexsort((np.median(drawn, axis=1) * (-1 if better else 1), -best))
    chances = pd.DataFrame({"formulation": np.array(names)[order], "probability": best[order]})
    standings = fitted.standings(months)
    seen = [standings[site, name] for site in sites for name in names]
    read, panels = min(one.months for one in seen), min(one.panels for one in seen)
    lower = gap = upper = told_by = np.nan
    if len(names) > 1:
        draws = drawn[order[0]] - drawn[order[1]]
        lower, gap, upper = np.quantile(draws, [(1 - level) / 2, 0.5, (1 + level) / 2])
        if lower <= 0 <= upper and fitted.measured.name == fitted.gathered.property.name:
            told_by = _told_by(
                fitted, abs(gap), read, months, level, panels=panels, sites=len(sites)
            )
    status = min((one.status for one in seen), key=WORST_FIRST.index)
    return Lead(chances, sites, float(gap), float(lower), float(upper), read, status, told_by)


def _told_by(
    fitted: Fit, gap: float, read: float, months: float, level: float, *, panels: int, sites: int
) -> float:
    components = of_fit(fitted)
    for month in (one for one in SCHEDULE if read < one <= months):
        plan = Plan(panels, sites, tuple(float(one) for one in SCHEDULE if one <= month))
        if smallest_difference(plan, components, months, level=level, power=POWER) <= gap:
            return float(month)
    return float("nan")
