"""Differences between formulations, by site and over sites, with all that a decision asks.

Each difference has its own interval, one that holds for its whole family at once (the differences
of its trial at its site; closed trials do not widen those of a running one) and a bound on its
worse side that does so too (`family`), the probability of being better by at least a worthwhile
amount, and that of being as good within a margin. The mean over sites stands beside its worst site
and beside the test whether sites may be averaged (`pooling`). With few sites that test seldom
speaks: that it does not object is no proof that they agree.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd

from aging.comparison.family import bounds, intervals
from aging.comparison.joint import Joint, at, mean_over
from aging.comparison.pooling import sites_agree
from aging.decay.site import Array
from aging.errors import ModelError, require
from aging.projection import ALL_SITES, Fit, fit
from aging.records import Exposure
from aging.standing import CANNOT, Standing, together

STATE, READING, PERIOD = "state", "reading", "period"
MARGIN = 0.02
COLUMNS = (
    "site", "formulation", "against", "property", "months", "target", "estimate", "lower", "upper",
    "joint_lower", "joint_upper", "joint_bound", "level", "probability_better",
    "probability_worthwhile", "probability_equivalent", "worst_site", "worst_estimate", "p_sites",
    "n_panels", "status", "notes",
)  # fmt: skip
DISAGREE = "sites disagree: look at the worst, not at the mean"
FAILS = "no winner: fails {names}"
Pair = tuple[str, str]


@dataclass(frozen=True)
class Comparison:
    """A tidy frame (COLUMNS) of differences, what was asked, and plain notes on the whole."""

    frame: pd.DataFrame
    worthwhile: float
    margin: float
    notes: tuple[str, ...]


def differences(
    fitted: Fit,
    months: float = 36.0,
    level: float = 0.90,
    *,
    against: str | None = None,
    every_pair: bool = False,
    worthwhile: float = 0.0,
    margin: float = MARGIN,
    period: tuple[float, float] | None = None,
    failing: Mapping[str, Sequence[str]] | None = None,
) -> Comparison:
    """Differences at one time, and over a `period` of months where one is given.

    against: the formulation taken as zero; None for the control of each campaign. every_pair: all
    pairs instead. worthwhile: least amount in the better direction that matters; margin: as good
    as within; both in the property's unit. failing: guard-rail properties that a formulation
    fails, told in its notes.
    """
    require(0 < level < 1, "level", level, "between 0 and 1, such as 0.90")
    require(worthwhile >= 0, "worthwhile", worthwhile, "0 or more, in the property's unit")
    require(margin > 0, "margin", margin, "above 0, in the property's unit")
    pairs = _every(fitted) if every_pair else pairs_of(fitted, against)
    figures = {target: (months, at(fitted, months, target)) for target in (STATE, READING)}
    if period is not None:
        figures[PERIOD] = (period[1], mean_over(fitted, *period))
    standings = fitted.standings(max(time for time, _ in figures.values()))
    sign = -1.0 if fitted.measured.higher_is_better is False else 1.0
    judge = _Judge(standings, level, sign, worthwhile, margin, failing or {})
    rows = [
        row | {"property": fitted.measured.name, "months": time, "target": target}
        for target, (time, joint) in figures.items()
        for row in judge.rows(joint, pairs)
    ]
    frame = pd.DataFrame(rows)[list(COLUMNS)]
    return Comparison(frame, worthwhile, margin, fitted.notes)


@dataclass(frozen=True)
class _Judge:
    standings: dict[tuple[str, str], Standing]
    level: float
    sign: float
    worthwhile: float
    margin: float
    failing: Mapping[str, Sequence[str]]

    def rows(self, joint: Joint, pairs: Sequence[Pair]) -> Iterator[dict[str, object]]:
        """Rows of every site, a family each trial, then of the means over sites."""
        gaps = {pair: each for pair in pairs if (each := joint.gaps(*pair))}
        trials: dict[str, list[Pair]] = {}
        for pair in gaps:
            trials.setdefault(joint.trials[pair[0]], []).append(pair)
        for site in sorted({site for each in gaps.values() for site in each}):
            for family in trials.values():
                here = {pair: gaps[pair][site][None] for pair in family if site in gaps[pair]}
                yield from self._family(here, site, dict.fromkeys(here, (site,)))
        for family in trials.values():
            shared = {pair: np.stack(list(gaps[pair].values())) for pair in family}
            yield from self._family(shared, ALL_SITES, {pair: tuple(gaps[pair]) for pair in shared})

    def _family(
        self, gaps: dict[Pair, Array], label: str, sites: dict[Pair, tuple[str, ...]]
    ) -> Iterator[dict[str, object]]:
        seen = {pair: together({s: self._standing(s, pair) for s in sites[pair]}) for pair in gaps}
        told = [pair for pair in gaps if seen[pair].status != CANNOT]
        mean = {pair: gaps[pair].mean(axis=0) for pair in told}
        ends = dict(zip(told, self._ends(list(mean.values())), strict=True)) if told else {}
        for pair, each in gaps.items():
            notes = list(seen[pair].notes)
            if pair[0] in self.failing:
                notes.append(FAILS.format(names=", ".join(self.failing[pair[0]])))
            row: dict[str, object] = {
                "site": label, "formulation": pair[0], "against": pair[1], "level": self.level,
                "n_panels": seen[pair].panels, "status": seen[pair].status,
            }  # fmt: skip
            if pair in mean:
                row |= ends[pair] | self._chances(mean[pair])
                if len(each) > 1:
                    row |= self._sites(each, sites[pair], notes)
            yield dict.fromkeys(COLUMNS, np.nan) | row | {"notes": "; ".join(notes)}

    def _ends(self, gaps: Sequence[Array]) -> list[dict[str, float]]:
        """Ends of every difference of a family, draws (D,) each."""
        found = intervals(np.stack(gaps), self.level)
        names = ("estimate", "lower", "upper", "joint_lower", "joint_upper")
        bound = bounds(np.stack(gaps), self.level, above=self.sign < 0)
        rows = zip(*(getattr(found, name) for name in names), bound, strict=True)
        return [dict(zip((*names, "joint_bound"), map(float, row), strict=True)) for row in rows]

    def _standing(self, site: str, pair: Pair) -> Standing:
        """The weaker of the two standings; panels are those of the first."""
        one, other = (self.standings[site, name] for name in pair)
        return other if other.status == CANNOT else one

    def _chances(self, gap: Array) -> dict[str, float]:
        better = self.sign * gap
        return {
            "probability_better": float((better > 0).mean()),
            "probability_worthwhile": float((better > self.worthwhile).mean()),
            "probability_equivalent": float((np.abs(gap) < self.margin).mean()),
        }

    def _sites(
        self, gaps: Array, sites: tuple[str, ...], notes: list[str]
    ) -> dict[str, str | float]:
        agreement = sites_agree(gaps)
        if not agreement.poolable:
            notes.append(DISAGREE)
        middle = np.median(gaps, axis=1)
        worst = int(np.argmin(self.sign * middle))
        return {
            "worst_site": sites[worst],
            "worst_estimate": float(middle[worst]),
            "p_sites": agreement.p,
        }


def _every(fitted: Fit) -> list[Pair]:
    """All pairs of formulations that hang in one campaign somewhere."""
    members: dict[int, list[str]] = {}
    for one in fitted.series:
        members.setdefault(id(one.posterior), []).append(one.formulation)
    return list(dict.fromkeys(
        (later, first) for each in members.values() for first, later in combinations(each, 2)
    ))  # fmt: skip


def pairs_of(fitted: Fit, against: str | None) -> list[Pair]:
    """Every formulation against the named one, or against the control of its own campaign."""
    facts = fitted.exposure.formulations
    names = {one.formulation for one in fitted.series}
    if against is not None:
        require(against in names, "against", against, sorted(names))
        zeros = {against}
    else:
        zeros = set(facts.loc[facts["role"] == "control", "formulation"])
    pairs = dict.fromkeys(_pairs(fitted, zeros))
    if not pairs:
        raise ModelError("no site has a control (role 'control' in formulations) to compare with")
    return list(pairs)


def _pairs(fitted: Fit, zeros: set[str]) -> Iterable[Pair]:
    """Every formulation with the zero of its own campaign."""
    for one in sorted(fitted.series, key=lambda series: (series.formulation, series.site)):
        here = [
            other.formulation
            for other in fitted.series
            if other.posterior is one.posterior and other.formulation in zeros
        ]
        if here and one.formulation not in here:
            yield one.formulation, here[0]


def compare(
    source: str | Path | Exposure,
    months: float = 36.0,
    level: float = 0.90,
    as_of: str | pd.Timestamp | None = None,
    property: str = "solar_reflectance",  # noqa: A002 - the field's own word
    **options: str | Path | None,
) -> Comparison:
    """Compare a source's formulations with their control; see `aging.fit` for the source."""
    return differences(fit(source, property, as_of, **options), months, level)  # type: ignore[arg-type]
