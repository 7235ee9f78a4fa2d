"""All that is told of differences, family by family, as columns of a frame.

Draws of a mean over sites are differenced after the mean; variances of differences come from the
covariance of the formulations, so that no more is held than the draws of each.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from aging.comparison.family import Gaps, chances, intervals
from aging.comparison.joint import Joint
from aging.comparison.pooling import ALPHA, heterogeneity
from aging.decay.site import Array, Index
from aging.projection import ALL_SITES
from aging.standing import CANNOT, Standing, together

DISAGREE = "sites disagree: look at the worst, not at the mean"
FAILS = "no winner: fails {names}"
ENDS = ("estimate", "lower", "upper", "joint_lower", "joint_upper")
CHANCES = ("probability_better", "probability_worthwhile", "probability_equivalent")
Pair = tuple[str, str]
Places = Mapping[Pair, tuple[str, ...]]  # sites of each pair


@dataclass(frozen=True)
class Judge:
    """What was asked, and the standing of each (site, formulation)."""

    standings: Mapping[tuple[str, str], Standing]
    level: float
    sign: float
    worthwhile: float
    margin: float
    failing: Mapping[str, Sequence[str]]
    _known: dict[tuple[tuple[str, str], ...], Standing] = field(default_factory=dict)

    def frames(self, joint: Joint, pairs: Sequence[Pair]) -> Iterator[pd.DataFrame]:
        """Rows of every site, a family each trial, then of the means over sites."""
        shared = {pair: sites for pair in pairs if (sites := joint.shared(*pair))}
        trials: dict[str, list[Pair]] = {}
        for pair in shared:
            trials.setdefault(joint.trials[pair[0]], []).append(pair)
        middle: dict[tuple[str, Pair], float] = {}
        for site in sorted({site for sites in shared.values() for site in sites}):
            for family in trials.values():
                here = {pair: (site,) for pair in family if site in shared[pair]}
                if here:
                    found = self._family(joint, here, site)
                    middle |= zip(((site, pair) for pair in here), found["estimate"], strict=True)
                    yield found
        for family in trials.values():
            where = {pair: shared[pair] for pair in family}
            found = self._family(joint, where, ALL_SITES)
            yield self._with_sites(found, joint, where, middle)

    def _family(self, joint: Joint, where: Places, label: str) -> pd.DataFrame:
        seen = [self._standing(pair, sites) for pair, sites in where.items()]
        told = [pair for pair, one in zip(where, seen, strict=True) if one.status != CANNOT]
        frame = pd.DataFrame(list(where), columns=["formulation", "against"]).assign(
            site=label, level=self.level, n_panels=[one.panels for one in seen],
            status=[str(one.status) for one in seen],
            notes=["; ".join((*one.notes, *self._fails(pair)))
                   for pair, one in zip(where, seen, strict=True)],
        )  # fmt: skip
        if not told:
            return frame.assign(**dict.fromkeys((*ENDS, "joint_bound", *CHANCES), np.nan))
        parts = _parts(where, told)
        gaps = Gaps(tuple(
            (joint.mean_of(names, sites), first, second)
            for sites, names, first, second, _ in parts
        ))  # fmt: skip
        found = intervals(gaps, self.level, above=self.sign < 0)
        odds = chances(gaps, self.sign, self.worthwhile, self.margin)
        columns = [*(getattr(found, name) for name in ENDS), found.bound, *odds]
        index = pd.MultiIndex.from_tuples([pair for *_, each in parts for pair in each])
        figures = dict(zip((*ENDS, "joint_bound", *CHANCES), columns, strict=True))
        wanted = pd.MultiIndex.from_tuples(list(where))
        return frame.join(pd.DataFrame(figures, index).reindex(wanted).reset_index(drop=True))

    def _fails(self, pair: Pair) -> tuple[str, ...]:
        names = self.failing.get(pair[0])
        return (FAILS.format(names=", ".join(names)),) if names else ()

    def _standing(self, pair: Pair, sites: tuple[str, ...]) -> Standing:
        """The weaker of the two standings at each site; panels are those of the first."""
        one, other = pair
        weaker = tuple(
            (site, other if self.standings[site, other].status == CANNOT else one)
            for site in sites
        )  # fmt: skip
        if weaker not in self._known:
            self._known[weaker] = together({key[0]: self.standings[key] for key in weaker})
        return self._known[weaker]

    def _with_sites(
        self, frame: pd.DataFrame, joint: Joint, where: Places, middle: Mapping[Any, float]
    ) -> pd.DataFrame:
        """The worst site of each mean over several, and whether the sites agree."""
        told = [pair for pair, estimate in zip(where, frame["estimate"], strict=True)
                if np.isfinite(estimate) and len(where[pair]) > 1]  # fmt: skip
        facts = {}
        for sites, names, first, second, each in _parts(where, told):
            p = _agreement(joint, sites, names, first, second)
            there = np.array([[middle[site, pair] for pair in each] for site in sites])
            worst = (self.sign * there).argmin(axis=0)
            of_worst = np.take_along_axis(there, worst[None], axis=0)[0]
            for pair, at, value, one in zip(each, worst, of_worst, p, strict=True):
                facts[pair] = sites[at], value, one
        none = (np.nan,) * 3
        rows = [facts.get(pair, none) for pair in where]
        frame[["worst_site", "worst_estimate", "p_sites"]] = pd.DataFrame(rows, frame.index)
        apart = frame["p_sites"] <= ALPHA
        notes = frame["notes"].where(frame["notes"] == "", frame["notes"] + "; ") + DISAGREE
        return frame.assign(notes=frame["notes"].mask(apart, notes))


Part = tuple[tuple[str, ...], list[str], Index, Index, list[Pair]]


def _parts(where: Places, told: Sequence[Pair]) -> list[Part]:
    """Pairs that share their sites: sites, formulations, places of the first and the second."""
    together: dict[tuple[str, ...], list[Pair]] = {}
    for pair in told:
        together.setdefault(where[pair], []).append(pair)
    found = []
    for sites, pairs in together.items():
        names = list(dict.fromkeys(name for pair in pairs for name in pair))
        place = {name: number for number, name in enumerate(names)}
        first, second = np.array([[place[name] for name in pair] for pair in pairs]).T
        found.append((sites, names, first, second, pairs))
    return found


def _agreement(
    joint: Joint, sites: Sequence[str], names: Sequence[str], first: Index, second: Index
) -> Array:
    """The p (K,) of `heterogeneity` of each pair over the sites."""
    middle, variance = [], []
    for site in sites:
        drawn = joint.mean_of(names, (site,))
        mean, cov = drawn.mean(axis=1), np.cov(drawn, bias=True)
        middle.append(mean[first] - mean[second])
        variance.append(cov[first, first] + cov[second, second] - 2 * cov[first, second])
    return heterogeneity(np.array(middle), np.array(variance))[1]
