"""How the projection moved as readings came in: the same one as of each past visit.

Each campaign is fitted again with the visits up to a day, and with the priors that the campaigns
closed by that day had taught. Known from after that day are only the site's average dryness and
radiant exposure, from the whole weather record, and what later checks said of its instruments.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from aging.campaigns import Campaign
from aging.decay.priors import Priors
from aging.decay.site import Array, Index, SiteReadings
from aging.projection.fit import TARGETS, Fit, Key, Series, asked, cases
from aging.projection.gathering import posterior, priors_known, side_by_side
from aging.projection.states import aged
from aging.standing import WINDOW_SHARE

MOVEMENT_COLUMNS = (
    "site", "formulation", "property", "months", "target", "as_of", "observed_months", "estimate",
    "lower", "upper", "level", "later",
)  # fmt: skip
DRAWS = 1000


@dataclass(frozen=True)
class _Past:
    """A campaign as of a past visit; `groups` (G,) had been read by then, up to `months` (G,)."""

    campaign: Campaign
    day: pd.Timestamp
    groups: Index
    months: Array
    readings: SiteReadings
    priors: Priors


@dataclass(frozen=True)
class _Known:
    """What was projected for one series on a day, draws (D,) of each target."""

    day: pd.Timestamp
    months: float
    draws: dict[str, Array]


def movement(
    fit: Fit,
    months: float = 36.0,
    level: float = 0.90,
    *,
    draws: int = DRAWS,
    on_progress: Callable[[int, int], None] | None = None,
) -> pd.DataFrame:
    """The projection to `months` exposed as of each visit before it: MOVEMENT_COLUMNS.

    as_of is the day of the visit, ISO 8601; site "all" has a row whenever the months seen at every
    site had grown. later: the mean of the formulation's panels read within a 36th of `months`, NaN
    where there is none. CallError as of `Fit.project`.
    """
    asked(months, level, fit.measured)
    series = {(id(one.campaign), one.group): one for one in fit.series}
    pasts = list(_pasts(fit, months * (1 - WINDOW_SHARE)))

    def projected(past: _Past) -> dict[str, Array]:
        fitted = posterior(past.campaign, past.priors, readings=past.readings, draws=draws)
        return aged(fitted, past.campaign.clock.at([months]), fit.measured)

    history = defaultdict[Key, list[_Known]](list)
    for number, (past, drawn) in enumerate(zip(pasts, side_by_side(projected, pasts), strict=True)):
        for place, group in enumerate(past.groups):
            if one := series.get((id(past.campaign), int(group))):
                draws_of = {name: drawn[name][0, :, place] for name in TARGETS}
                known = _Known(past.day, float(past.months[place]), draws_of)
                history[one.site, one.formulation].append(known)
        if on_progress is not None:
            on_progress(number + 1, len(pasts))
    later = {(one.site, one.formulation): _later(one, months) for one in fit.series}
    ends = [(1 - level) / 2, 0.5, (1 + level) / 2]
    rows: list[dict[str, Any]] = []
    for site, members in cases(history):
        facts = {
            "site": site, "formulation": members[0][1], "property": fit.measured.name,
            "months": months, "level": level, "later": np.mean([later[one] for one in members]),
        }  # fmt: skip
        for known in _together([history[one] for one in members]):
            for target, values in known.draws.items():
                figures = dict(
                    zip(("lower", "estimate", "upper"), np.quantile(values, ends), strict=True)
                )
                rows.append({
                    **facts, "target": target, "as_of": known.day.date().isoformat(),
                    "observed_months": known.months, **figures,
                })  # fmt: skip
    return pd.DataFrame(rows, columns=list(MOVEMENT_COLUMNS))


def _pasts(fit: Fit, before: float) -> Iterator[_Past]:
    """Each fitted campaign as of each unwashed visit earlier than a month of exposure."""
    priors_on = priors_known(fit.gathered)
    for campaign in {id(one.campaign): one.campaign for one in fit.series}.values():
        days, unwashed = campaign.visits.normalize(), campaign.readings.washed == 0
        read = np.array(
            [
                (~np.isnan(campaign.of_group(group))).any(axis=0)
                for group in range(campaign.readings.groups)
            ]
        )
        months = np.where(read, campaign.months[unwashed], -np.inf)
        for place, day in enumerate(days[unwashed]):
            if campaign.months[unwashed][place] < before:
                last = months[:, : place + 1].max(axis=1)
                groups = np.flatnonzero(last > -np.inf)
                known = campaign.readings.visits(days <= day).only_groups(groups)
                yield _Past(campaign, day, groups, last[groups], known, priors_on(campaign, day))


def _together(histories: Sequence[list[_Known]]) -> Iterator[_Known]:
    """The mean over sites at each day on which the months seen at every site had grown."""
    seen = -np.inf
    for day in sorted({known.day for history in histories for known in history}):
        latest = [[known for known in history if known.day <= day][-1:] for history in histories]
        now = [known for last in latest for known in last]
        if len(now) == len(histories) and min(one.months for one in now) > seen:
            seen = min(one.months for one in now)
            draws = {name: np.mean([one.draws[name] for one in now], axis=0) for name in TARGETS}
            yield _Known(day, seen, draws)


def _later(one: Series, months: float) -> float:
    """Mean over the panels of a series at its unwashed visit nearest to a month, or NaN."""
    means = pd.DataFrame(one.campaign.of_group(one.group)).mean().to_numpy()
    away = np.abs(one.campaign.months[one.campaign.readings.washed == 0] - months)
    away[np.isnan(means)] = np.inf
    near = int(np.argmin(away))
    return float(means[near]) if away[near] <= months * WINDOW_SHARE else float("nan")
