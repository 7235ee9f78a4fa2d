"""Differences between formulations, by site and over sites, with all that a decision asks.

Each difference has its own interval, one that holds for its whole family at once (the differences
of its trial at its site; closed trials do not widen those of a running one) and a bound on its
worse side that does so too (`family`), the probability of being better by at least a worthwhile
amount, and that of being as good within a margin. The mean over sites stands beside its worst site
and beside the test whether sites may be averaged (`pooling`). With few sites that test seldom
speaks: that it does not object is no proof that they agree.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import pandas as pd

from aging.comparison import amounts
from aging.comparison.joint import at, mean_over
from aging.comparison.judge import Judge, Pair
from aging.errors import ModelError, require
from aging.projection import Fit, fit
from aging.records import Exposure

STATE, READING, PERIOD = "state", "reading", "period"
COLUMNS = (
    "site", "formulation", "against", "property", "months", "target", "estimate", "lower", "upper",
    "joint_lower", "joint_upper", "joint_bound", "level", "probability_better",
    "probability_worthwhile", "probability_equivalent", "worst_site", "worst_estimate", "p_sites",
    "n_panels", "status", "notes",
)  # fmt: skip


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
    worthwhile: float | None = None,
    margin: float | None = None,
    period: tuple[float, float] | None = None,
    failing: Mapping[str, Sequence[str]] | None = None,
) -> Comparison:
    """Differences at one time, and over a `period` of months where one is given.

    against: the formulation taken as zero; None for the control of each campaign. every_pair: all
    pairs instead. worthwhile: least amount in the better direction that matters; margin: as good
    as within; both in the property's unit, by default what `amounts` says of it. failing:
    guard-rail properties that a formulation fails, told in its notes.
    """
    require(0 < level < 1, "level", level, "between 0 and 1, such as 0.90")
    amount = amounts.worthwhile(fitted.measured.name)
    worthwhile, margin = (amount if one is None else one for one in (worthwhile, margin))
    require(worthwhile >= 0, "worthwhile", worthwhile, "0 or more, in the property's unit")
    require(margin > 0, "margin", margin, "above 0, in the property's unit")
    pairs = _every(fitted) if every_pair else pairs_of(fitted, against)
    figures = {target: (months, at(fitted, months, target)) for target in (STATE, READING)}
    if period is not None:
        figures[PERIOD] = (period[1], mean_over(fitted, *period))
    standings = fitted.standings(max(time for time, _ in figures.values()))
    sign = -1.0 if fitted.measured.higher_is_better is False else 1.0
    judge = Judge(standings, level, sign, worthwhile, margin, failing or {})
    frame = pd.concat([
        rows.assign(property=fitted.measured.name, months=time, target=target)
        for target, (time, joint) in figures.items()
        for rows in judge.frames(joint, pairs)
    ], ignore_index=True)[list(COLUMNS)]  # fmt: skip
    return Comparison(frame, worthwhile, margin, fitted.notes)


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
