"""How far forecasts missed in the ledger's own past, as a factor on the intervals to come.

Split conformal: every closed campaign is cut where a running one stands now, fitted with what the
other closed ones of its climate teach, and forecasts its own last reading. The score of a series
(formulation at a site) is its miss over the half-width of its interval on that side; with n series
the factor is the score of rank ceil((n + 1) LEVEL). Series count as exchangeable although those of
one rack share its weather. Fewer than LEAST series give no factor: the model's intervals stand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from aging.campaigns import Campaign
from aging.decay.posterior import SitePosterior
from aging.decay.site import Array
from aging.precedent import learn
from aging.projection import kept
from aging.projection.gathering import Each, Gathered, posterior, seed_of, side_by_side
from aging.projection.states import tails

LEVEL, LEAST, DRAWS = 0.90, 19, 1000
CUTS = (3.0, 6.0, 9.0, 12.0, 18.0, 24.0, 30.0)  # months, in the clock's own time
FEW = f"{{}}, and {LEAST} are needed to check intervals by: they are as model and table make them"
Fitted = tuple[Campaign, SitePosterior]


def factor(scores: Array) -> float:
    """Conformal factor of scores (n,); 1 where there are fewer than LEAST."""
    if scores.size < LEAST:
        return 1.0
    rank = int(np.ceil((scores.size + 1) * LEVEL))
    return float(np.sort(scores)[min(rank, scores.size) - 1])


def stretched(
    found: Gathered,
    closed: Sequence[Fitted],
    running: Sequence[Fitted],
    each: Each = side_by_side,
) -> tuple[list[Fitted], tuple[str, ...]]:
    """Running campaigns with intervals as wide as the past asks for, and what was done."""
    if not running:
        return [], ()
    series = sum(one.readings.groups for one, _ in closed)
    if series < LEAST:
        note = FEW.format(f"{series} closed series")
        return list(running), (note,)
    cuts = {id(one): _cut(one) for one, _ in running}
    scores = {cut: _scores(found, closed, cut, each) for cut in sorted(set(cuts.values()))}
    factors = {cut: factor(found_scores) for cut, found_scores in scores.items()}
    notes = tuple(_told(cut, scores[cut].size, factors) for cut in factors)
    return [(one, replace(its, stretch=factors[cuts[id(one)]])) for one, its in running], notes


def _told(cut: float, series: int, factors: Mapping[float, float]) -> str:
    if series < LEAST:
        return FEW.format(f"{series} closed series at {cut:g} months")
    return (
        f"intervals are {factors[cut]:.2f} times the model's own, as wide as {series} closed "
        f"series cut at {cut:g} months ask for"
    )


def _cut(campaign: Campaign) -> float:
    """The cut nearest to where a campaign stands."""
    return min(CUTS, key=lambda cut: abs(cut - campaign.readings.last))


def _scores(found: Gathered, closed: Sequence[Fitted], cut: float, each: Each) -> Array:
    """Misses of closed series cut there, in half-widths of their intervals."""

    def missed(number: int) -> Array:
        campaign = closed[number][0]
        readings = campaign.readings
        known = readings.months <= cut + 0.5
        unwashed = readings.washed == 0
        read = ~np.isnan(readings.values)
        groups = np.unique(readings.group[read[:, known & unwashed].any(axis=1)])
        if readings.last <= 1.5 * cut or not groups.size:
            return np.empty(0)
        taught = [
            its for place, (one, its) in enumerate(closed)
            if place != number and found.climate(one) == found.climate(campaign)
        ]  # fmt: skip
        past = readings.visits(known).only_groups(groups)
        priors = learn(found.priors(campaign), taught)
        ends = kept.forecast(
            partial(posterior, campaign, priors, readings=past, draws=DRAWS),
            kept.named(past, priors, draws=DRAWS, seed=seed_of(campaign)), readings.last,
            tails(LEVEL, priors.value("upper_half")),
        )  # fmt: skip
        low, middle, high = ends
        last = np.flatnonzero(unwashed)[-1]
        later = np.array(
            [np.mean(_read(readings.values[readings.group == g, last])) for g in groups]
        )
        gap = later - middle
        score = np.where(gap > 0, gap / (high - middle), -gap / (middle - low))
        return score[~np.isnan(score)]

    return np.concatenate([np.empty(0), *each(missed, range(len(closed)))])


def _read(values: Array) -> Array:
    seen = values[~np.isnan(values)]
    return seen if seen.size else np.array([np.nan])
