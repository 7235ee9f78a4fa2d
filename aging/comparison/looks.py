"""May a trial stop? Decisions at looks that were set before it began.

A rule names the months of its looks, the worthwhile difference w to the control, and how often it
may stop a formulation that is worth it. That chance is shared out over looks and formulations, so
that a tail of a = wrong_stops / (looks x formulations) decides each time, on the joint draws of the
differences at the final month, mean over sites:

    stop       the difference is below w with probability 1 - a, or a guard-rail fails
    promote    it is above 0 with probability 1 - a, after a full year at two sites or more
    continue   neither

Beside a decision stands the probability that the final reading agrees with it: below w, or above 0,
as one visit at the final month would read it. `operating` tells beforehand how often a rule stops,
promotes and goes on, at a true difference: estimates at the looks are a random walk in the
information that the plan gathers (canonical joint distribution of sequential tests; Jennison and
Turnbull, Group Sequential Methods, 2000, from memory).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from aging.comparison.design import Components, Plan, variances
from aging.comparison.differences import pairs_of
from aging.comparison.joint import at
from aging.decay.site import Array
from aging.errors import SourceError, require
from aging.projection import Fit
from aging.standing import CANNOT

STOP, PROMOTE, CONTINUE = "stop", "promote", "continue"
FULL_YEAR, SITES, SIMULATED, SEED, SLACK = 12.0, 2, 20_000, 20_261_125, 0.5
COLUMNS = (
    "formulation", "against", "look", "estimate", "lower", "upper", "tail", "decision",
    "probability_agrees", "sites", "why",
)  # fmt: skip


@dataclass(frozen=True)
class LookRule:
    """What was decided before the start; months, the property's unit, chances."""

    set_on: date
    looks: tuple[float, ...]
    worthwhile: float
    wrong_stops: float = 0.10
    months: float = 36.0
    property: str = "solar_reflectance"

    def __post_init__(self) -> None:
        rising = len(self.looks) > 0 and bool(np.all(np.diff([0.0, *self.looks]) > 0))
        require(rising, "looks", self.looks, "one or more months, ascending from above 0")
        require(self.looks[-1] < self.months, "looks", self.looks, f"before month {self.months:g}")
        require(self.worthwhile >= 0, "worthwhile", self.worthwhile, "0 or more")
        require(0 < self.wrong_stops < 1, "wrong_stops", self.wrong_stops, "between 0 and 1")

    def tail(self, formulations: int) -> float:
        """Chance that decides each time, for so many formulations beside the control."""
        return self.wrong_stops / (len(self.looks) * max(formulations, 1))

    def due(self, observed: float) -> float | None:
        """The last look that so many months of readings reach, half a month early at most."""
        reached = [look for look in self.looks if look <= observed + SLACK]
        return reached[-1] if reached else None


def read_rule(path: str | Path) -> LookRule:
    """A rule from a JSON file of LookRule's fields; SourceError for a file that is none."""
    names = [field.name for field in fields(LookRule)]
    try:
        facts = json.loads(Path(path).read_text(encoding="utf-8"))
        unknown = sorted(set(facts) - set(names))
        if unknown:
            raise SourceError(f"{path}: unknown {', '.join(unknown)}; known: {', '.join(names)}")
        facts["set_on"] = date.fromisoformat(facts["set_on"])
        return LookRule(**facts | {"looks": tuple(map(float, facts["looks"]))})
    except (OSError, ValueError, TypeError, KeyError) as error:
        raise SourceError(
            f"{path}: not a rule ({error!r}); it needs set_on (YYYY-MM-DD), looks (months) and"
            " worthwhile, and may hold wrong_stops, months and property"
        ) from error


@dataclass(frozen=True)
class Look:
    """Decisions (COLUMNS) at the look that is due, and notes on whether the rule's chances hold."""

    frame: pd.DataFrame
    look: float | None
    notes: tuple[str, ...]


def look(fitted: Fit, rule: LookRule, failing: Mapping[str, Sequence[str]] | None = None) -> Look:
    """Decide on every formulation of the running campaigns. failing: properties it fails."""
    pairs = pairs_of(fitted, None)
    standings = fitted.standings(rule.months)
    running = max(one.campaign.exposed_on for one in fitted.series)
    new = {one.formulation for one in fitted.series
           if (running - one.campaign.exposed_on).days < 30.44 * FULL_YEAR / 2}  # fmt: skip
    pairs = [pair for pair in pairs if pair[0] in new]
    seen = {pair: [standings[site, pair[0]] for site in at_sites(fitted, pair)] for pair in pairs}
    observed = min((one.months for each in seen.values() for one in each), default=0.0)
    due = rule.due(observed)
    notes = _notes(fitted, rule, observed, due)
    if due is None:
        return Look(pd.DataFrame(columns=list(COLUMNS)), None, notes)
    state, reading = at(fitted, rule.months), at(fitted, rule.months, "reading")
    sign = -1.0 if fitted.measured.higher_is_better is False else 1.0
    tail = rule.tail(len(pairs))
    rows = []
    for formulation, control in pairs:
        gap, later = (
            sign * np.mean(list(joint.gaps(formulation, control).values()), axis=0)
            for joint in (state, reading)
        )
        told = all(one.status != CANNOT for one in seen[formulation, control])
        sites = len(seen[formulation, control])
        failed = tuple((failing or {}).get(formulation, ()))
        decision, why = _decide(gap, rule, tail, observed, sites=sites, told=told, failed=failed)
        agrees = {STOP: later < rule.worthwhile, PROMOTE: later > 0}.get(decision)
        low, middle, high = np.quantile(sign * gap, [tail, 0.5, 1 - tail])
        rows.append((
            formulation, control, due, middle, low, high, tail, decision,
            np.nan if agrees is None or failed else float(agrees.mean()), sites, why,
        ))  # fmt: skip
    return Look(pd.DataFrame(rows, columns=list(COLUMNS)), due, notes)


def at_sites(fitted: Fit, pair: tuple[str, str]) -> list[str]:
    """Sites where both of a pair hang side by side."""
    return list(at(fitted, 0.0).gaps(*pair))


def _decide(
    gap: Array, rule: LookRule, tail: float, observed: float, *,
    sites: int, told: bool, failed: tuple[str, ...],
) -> tuple[str, str]:  # fmt: skip
    if failed:
        return STOP, f"fails {', '.join(failed)}"
    if not told:
        return CONTINUE, "cannot be projected yet"
    if float((gap >= rule.worthwhile).mean()) < tail:
        return STOP, f"not worth {rule.worthwhile:g}"
    if float((gap <= 0).mean()) >= tail:
        return CONTINUE, "neither ruled out nor shown"
    if observed < FULL_YEAR - SLACK or sites < SITES:
        return CONTINUE, "leads, but promoted only after a full year at two sites"
    return PROMOTE, "better than the control"


def _notes(fitted: Fit, rule: LookRule, observed: float, due: float | None) -> tuple[str, ...]:
    start = min(one.campaign.exposed_on for one in fitted.series)
    newest = max(one.campaign.exposed_on for one in fitted.series)
    notes = [
        f"rule set on {rule.set_on}, looks at {', '.join(f'{m:g}' for m in rule.looks)} months"
    ]
    if pd.Timestamp(rule.set_on) > newest:
        notes.append(f"set after the trial began ({newest:%Y-%m-%d}): its wrong stops may be more")
    if due is None:
        notes.append(f"no look is due: {observed:.1f} months read since {start:%Y-%m-%d}")
    elif observed > due + 2:
        notes.append(f"this look was due at {due:g} months and is taken at {observed:.1f}")
    return tuple(notes)


def operating(
    rule: LookRule,
    plan: Plan,
    components: Sequence[Components],
    difference: float,
    formulations: int,
) -> pd.DataFrame:
    """How often a formulation is stopped, promoted, continued by each look, at a true difference.

    Columns look, stop, promote, continue: shares of simulated trials, cumulative.
    """
    random = np.random.default_rng(SEED)
    from scipy.stats import norm

    reach = norm.ppf(1 - rule.tail(formulations))
    node = [random.choice(one.weight.size, SIMULATED, p=one.weight) for one in components]
    walk, before = np.zeros(SIMULATED), np.zeros(SIMULATED)
    stopped, promoted = np.zeros(SIMULATED, bool), np.zeros(SIMULATED, bool)
    rows = []
    for month in rule.looks:
        until = Plan(plan.panels, plan.sites, tuple(m for m in plan.visits if m <= month))
        known, prior = np.zeros(SIMULATED), np.zeros(SIMULATED)
        for site in range(plan.sites):
            place = site % len(components)
            one, own = (each[node[place]] for each in variances(components[place], until,
                                                                rule.months))  # fmt: skip
            known, prior = known + one / plan.sites**2, prior + own / plan.sites**2
        information = np.maximum(1 / known - 1 / prior, before + 1e-9)
        walk += np.sqrt(information - before) * random.standard_normal(SIMULATED)
        before = information
        middle = known * (information * difference + walk)
        spread = reach * np.sqrt(known)
        open_ = ~(stopped | promoted)
        stopped |= open_ & (middle + spread < rule.worthwhile)
        ready = month >= FULL_YEAR - SLACK and plan.sites >= SITES
        promoted |= open_ & ~stopped & ready & (middle - spread > 0)
        rows.append((month, stopped.mean(), promoted.mean(), 1 - (stopped | promoted).mean()))
    return pd.DataFrame(rows, columns=["look", STOP, PROMOTE, CONTINUE])
