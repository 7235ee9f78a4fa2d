"""How the projection moved as readings came in: the same one as of each past visit.

Each campaign is fitted again with the visits up to a day, and with the priors that the campaigns
closed by that day had taught. Known from after that day are only the site's average dryness and
radiant exposure, from the whole weather record, and what later checks said of its instruments.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
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
    """What was projected for one series on a day, draws (M, D) of each target.

    priors: those of that day; None of a mean over sites.
    """

    day: pd.Timestamp
    months: float
    draws: dict[str, Array]
    priors: Priors | None


def movement(
    fit: Fit,
    months: float | Iterable[float] = 36.0,
    level: float = 0.90,
    *,
    draws: int = DRAWS,
    on_progress: Callable[[int, int], None] | None = None,
) -> pd.DataFrame:
    """The projection to `months` exposed as of each visit before them: MOVEMENT_COLUMNS.

    as_of is the day of the visit, ISO 8601; site "all" has a row whenever the months seen at every
    site had grown. later: the mean of the formulation's panels read within a 36th of `months`, NaN
    where there is none. An interval stands also where `Fit.project` would have refused it on that
    day, and before any conformal factor. CallError as of `Fit.project`.
    """
    times = asked(months, level, fit.measured)
    history = _history(fit, times, draws, on_progress)
    later = {
        (one.site, one.formulation): fit.of_readings(
            _later(one, times), [one.formulation] * len(times)
        )
        for one in fit.series
    }
    rows: list[dict[str, Any]] = []
    for site, members in cases(history):
        read = np.mean([later[one] for one in members], axis=0)
        for known in _together([history[one] for one in members]):
            for m, time in enumerate(times):
                if known.months >= _measured_from(time):
                    continue
                ends = fit.tails(level, known.priors)
                for target, values in known.draws.items():
                    lower, estimate, upper = np.quantile(values[m], ends)
                    rows.append({
                        "site": site, "formulation": members[0][1], "months": time,
                        "target": target, "as_of": known.day.date().isoformat(),
                        "observed_months": known.months, "estimate": estimate, "lower": lower,
                        "upper": upper, "later": read[m],
                    })  # fmt: skip
    frame = pd.DataFrame(rows, columns=list(MOVEMENT_COLUMNS))
    return frame.assign(property=fit.measured.name, level=level)


def _measured_from(months: float) -> float:
    return months * (1 - WINDOW_SHARE)


def _history(
    fit: Fit,
    times: Sequence[float],
    draws: int,
    on_progress: Callable[[int, int], None] | None,
) -> dict[Key, list[_Known]]:
    """What was projected to months `times` (M,) as of each past visit, series by series."""
    series = {(id(one.campaign), one.group): (one.site, one.formulation) for one in fit.series}
    pasts = list(_pasts(fit, _measured_from(max(times))))

    def projected(past: _Past) -> dict[str, Array]:
        fitted = posterior(past.campaign, past.priors, readings=past.readings, draws=draws)
        shown = fit.shown([past.campaign.formulations[group] for group in past.groups])
        return aged(fitted, past.campaign.clock.at(times), shown)

    history = defaultdict[Key, list[_Known]](list)
    for number, (past, drawn) in enumerate(zip(pasts, side_by_side(projected, pasts), strict=True)):
        for place, group in enumerate(past.groups):
            if key := series.get((id(past.campaign), int(group))):
                own = {name: drawn[name][:, :, place] for name in TARGETS}
                history[key].append(_Known(past.day, float(past.months[place]), own, past.priors))
        if on_progress is not None:
            on_progress(number + 1, len(pasts))
    return history


def _pasts(fit: Fit, before: float) -> Iterator[_Past]:
    """Each fitted campaign as of each unwashed visit earlier than a month of exposure."""
    priors_on = priors_known(fit.gathered)
    for campaign in {id(one.campaign): one.campaign for one in fit.series}.values():
        days, unwashed = campaign.visits.normalize(), campaign.readings.washed == 0
        groups = range(campaign.readings.groups)
        read = np.array([(~np.isnan(campaign.of_group(group))).any(axis=0) for group in groups])
        months = np.where(read, campaign.months[unwashed], -np.inf)
        for place, day in enumerate(days[unwashed]):
            if campaign.months[unwashed][place] < before:
                last = months[:, : place + 1].max(axis=1)
                seen = np.flatnonzero(last > -np.inf)
                known = campaign.readings.visits(days <= day).only_groups(seen)
                yield _Past(campaign, day, seen, last[seen], known, priors_on(campaign, day))


def _together(histories: Sequence[list[_Known]]) -> Iterator[_Known]:
    """The mean over sites at each day on which the months seen at every site had grown."""
    seen = -np.inf
    for day in sorted({known.day for history in histories for known in history}):
        latest = [[known for known in history if known.day <= day][-1:] for history in histories]
        now = [known for last in latest for known in last]
        if len(now) == len(histories) and min(one.months for one in now) > seen:
            seen = min(one.months for one in now)
            draws = {name: np.mean([one.draws[name] for one in now], axis=0) for name in TARGETS}
            yield _Known(day, seen, draws, now[0].priors if len(now) == 1 else None)


def _later(one: Series, times: Sequence[float]) -> Array:
    """Mean over the panels of a series at its unwashed visit nearest to each month, or NaN."""
    means = pd.DataFrame(one.campaign.of_group(one.group)).mean().to_numpy()
    at = np.where(np.isnan(means), np.inf, one.campaign.months[one.campaign.readings.washed == 0])
    away = np.abs(at - np.array(times)[:, None])
    near = away.argmin(axis=1)
    return np.where(away.min(axis=1) <= np.array(times) * WINDOW_SHARE, means[near], np.nan)
