"""What closed campaigns teach the priors of running ones in the same climate (empirical Bayes).

A value of a site (its loss and drift together; the log parameter of each course; the visits'
spread; the late loss) is x_i at closed campaign i, known through draws of a posterior that took
x_i from its prior p. Between campaigns of one climate

    x_i ~ N(mu, T),   mu ~ N(m0, (1 - SHARE) C0),   T0 = SHARE C0

with the table's centre m0 and spread C0. mu and T are found by expectation-maximisation, in which
a draw weighs N(x; mu, T) / p(x) and T0 is worth CAMPAIGNS campaigns. The running campaign gets
N(mu, T + variance of mu): the spread between campaigns stays in the prior, or early intervals
would be too short. Shares (of courses, of late losses) are counted, the table's being worth
CAMPAIGNS campaigns. `upper_half` takes off what the table's own beliefs leave too long; where
campaigns take their place it goes to 1, likewise. SHARE and CAMPAIGNS are assumed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from aging.campaigns import Campaign
from aging.decay.elimination import COEFFICIENTS
from aging.decay.posterior import SitePosterior
from aging.decay.priors import Priors
from aging.decay.site import Array
from aging.vocabulary import DAYS_PER_MONTH

SHARE, CAMPAIGNS, MIN_WEIGHT, ROUNDS = 0.5, 3.0, 0.05, 30
DRIFTS = ("drift", "drift_wide")
MIN_MONTHS, MONTH = 24, pd.Timedelta(days=DAYS_PER_MONTH)
LOSS, DRIFT = COEFFICIENTS.index("loss"), COEFFICIENTS.index("drift")


def learn(priors: Priors, closed: Sequence[SitePosterior]) -> Priors:
    """Priors of a running campaign from the posteriors of closed ones, fitted with `priors`."""
    if not closed:
        return priors
    table = priors.table.copy()
    number = f"{len(closed)} closed campaign{'s' * (len(closed) > 1)} of the same climate"

    def put(name: str, value: float, spread: float, unit: str | None = None) -> None:
        for column, cell in (("value", value), ("spread", spread), ("source", number)):
            table.loc[name, column] = cell
        if unit is not None:
            table.loc[name, "unit"] = unit

    level, cov = _level(priors, closed)
    sd = np.sqrt(np.diag(cov))
    put("loss", level[0], sd[0])
    put("drift", level[1], sd[1])
    put("drift_wide", level[1], sd[1])
    put("loss_drift", cov[0, 1] / sd.prod(), np.nan)
    late = [_late(one) for one in closed]
    share = priors.value("late_share")
    if share > 0:
        put("late_share", _share(share, [float(rows.mean()) for rows in late]), np.nan)
        risen = [one.path[rows, :, DRIFT].mean(1) for one, rows in zip(closed, late, strict=True)]
        put("late", *_scalar(priors.value("late"), priors.spread("late"), risen))
    if (half := priors.value("upper_half")) != 1:
        put("upper_half", _share(half, [1.0] * len(closed)), np.nan)
    visits = [
        np.log(np.hypot(one.grid.visit_sd, one.grid.group_visit_sd))[one.node] for one in closed
    ]
    centre, spread = _scalar(np.log(priors.value("visit")), priors.spread("visit"), visits)
    put("visit", float(np.exp(centre)), spread)
    for course, weight in priors.courses.items():
        put(
            f"weight_{course}",
            _share(weight, [one.course_weight[course] for one in closed]),
            np.nan,
        )
        centre, spread = priors.parameter(course)
        seen = [
            np.log(one.grid.parameter[one.node[one.grid.course[one.node] == place]])
            for one in closed
            for place in [one.grid.courses.index(course)]
        ]
        centre, spread = _scalar(np.log(centre), spread, seen)
        put(f"rate_{course}", float(np.exp(centre)), spread, "1/time and log")
    return Priors(table, priors.time)


def _late(one: SitePosterior) -> npt.NDArray[np.bool_]:
    """Draws (D,) in which the slow loss begins late."""
    return ~np.isnan(one.grid.onset[one.node])


def _share(prior: float, seen: Sequence[float]) -> float:
    return (CAMPAIGNS * prior + sum(seen)) / (CAMPAIGNS + len(seen))


def _level(priors: Priors, closed: Sequence[SitePosterior]) -> tuple[Array, Array]:
    """Mean (2,) and covariance (2, 2) of the next campaign's site-level loss and drift.

    A loss that began late says nothing of a drift: there the draws are the prior's.
    """
    random = np.random.default_rng(0)
    centre, spread = _of_table(priors)
    seen = []
    for one in closed:
        draws = one.path[:, :, [LOSS, DRIFT]].mean(axis=1)
        wide = one.grid.drift_sd[one.node] > priors.spread("drift")
        late = _late(one)
        wide = np.where(late, random.random(late.size) < 0.5, wide)  # noqa: PLR2004 - half are wide
        around, prior = centre[wide.astype(int)], spread[wide.astype(int)]
        fresh = around[:, 1] + prior[:, 1] * random.standard_normal(late.size)
        draws[:, 1] = np.where(late, fresh, draws[:, 1])
        seen.append((draws, around, prior))
    return _next(*_moments(priors), seen)


def _of_table(priors: Priors) -> tuple[Array, Array]:
    """Centre and spread (2, 2) of loss and drift, for a narrow and a wide drift, equally likely."""
    pairs = [[(priors.value(q), priors.spread(q)) for q in ("loss", name)] for name in DRIFTS]
    centre, spread = np.moveaxis(np.array(pairs), -1, 0)
    return centre, spread


def _moments(priors: Priors) -> tuple[Array, Array]:
    """Mean and variance (2,) of loss and drift over both kinds of drift."""
    centre, spread = _of_table(priors)
    return centre.mean(axis=0), (spread**2).mean(axis=0) + centre.var(axis=0)


def _scalar(centre: float, spread: float, draws: Sequence[Array]) -> tuple[float, float]:
    """Centre and spread of the next campaign's value, from draws (D,) of each that tells of it."""
    most = max(one.size for one in draws)
    seen = [
        (one[:, None], np.full((one.size, 1), centre), np.full((one.size, 1), spread))
        for one in draws
        if one.size > MIN_WEIGHT * most
    ]
    level, cov = _next(np.array([centre]), np.array([spread**2]), seen)
    return float(level[0]), float(cov[0, 0] ** 0.5)


def _next(
    centre: Array, variance: Array, seen: Sequence[tuple[Array, Array, Array]]
) -> tuple[Array, Array]:
    """Mean (n,) and covariance (n, n) of the next member of a population.

    Of each member seen: draws (D, n), and the centres and spreads (D, n) of the normal prior that
    each draw was made with. `centre` and `variance` (n,) are those of the table's prior.
    """
    wide = np.diag((1 - SHARE) * variance)
    start = between = np.diag(SHARE * variance)
    mean, moments = centre, []
    for _ in range(ROUNDS):
        moments = [_within(*one, mean, between) for one in seen]
        inside = np.linalg.inv(between)
        pull = np.linalg.solve(wide, centre) + inside @ sum((m for m, _ in moments), 0 * centre)
        mean = np.linalg.solve(np.linalg.inv(wide) + len(seen) * inside, pull)
        square = sum((cov + np.outer(m - mean, m - mean) for m, cov in moments), 0 * between)
        between = (CAMPAIGNS * start + square) / (CAMPAIGNS + len(seen))
    inside = np.linalg.inv(between)
    told = len(seen) * inside - inside @ sum((cov for _, cov in moments), 0 * between) @ inside
    size, turn = np.linalg.eigh(told)
    told = turn @ np.diag(np.maximum(size, 0.0)) @ turn.T  # what is told, less what is missing
    return mean, between + np.linalg.inv(np.linalg.inv(wide) + told)


def _within(
    draws: Array, centre: Array, spread: Array, mean: Array, between: Array
) -> tuple[Array, Array]:
    """Mean and covariance of one member's draws once it is taken from N(mean, between)."""
    apart = draws - mean
    log_weight = -(apart @ np.linalg.inv(between) * apart).sum(1) / 2
    log_weight += (((draws - centre) / spread) ** 2).sum(1) / 2 + np.log(spread).sum(1)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    middle = weight @ draws
    return middle, (weight * (draws - middle).T) @ (draws - middle)


def closed_campaigns(found: Sequence[Campaign], panels: pd.DataFrame) -> list[Campaign]:
    """Campaigns whose panels have all left the rack, read for at least MIN_MONTHS."""
    closed = set(panels.loc[panels["closed_on"].notna(), "panel"])
    long = [one for one in found if one.visits[-1] - one.exposed_on > MIN_MONTHS * MONTH]
    return [one for one in long if closed.issuperset(one.panels)]


def told(climate: str, before: Priors, after: Priors, number: int) -> str:
    """One sentence on how many precedents there were and what they changed."""
    words = "a loss in the end of", "a slow loss a month of"
    pairs = zip(words, *_moments(after), *_moments(before), strict=True)
    change = [
        f"{of} {_figure(now, 2)} ± {_figure(now_variance**0.5, 1)} "
        f"(before: {_figure(was, 2)} ± {_figure(was_variance**0.5, 1)})"
        for of, now, now_variance, was, was_variance in pairs
    ]
    if (share := before.value("late_share")) > 0:
        late = after.value("late_share")
        change.append(f"a late loss at a chance of {late:.2f} (before: {share:.2f})")
    if (half := before.value("upper_half")) != 1:
        ends = after.value("upper_half")
        change.append(f"upper ends at {ends:.2f} of the model's own (before: {half:.2f})")
    closed = f"{number} closed campaign{'s' * (number > 1)}"
    return f"{climate}: {closed} taught to expect {', '.join(change)}"


def _figure(value: float, digits: int) -> str:
    return f"{float(f'{value:.{digits}g}'):g}"
