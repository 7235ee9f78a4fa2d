"""What closed campaigns teach the priors of running ones in the same climate (empirical Bayes).

For a site's level (loss, drift) and for each course's log parameter, a closed campaign i saw m_i
with error S_i (its posterior with the prior taken out again). Between campaigns of one climate

    m_i ~ N(mu, T + S_i),   mu ~ N(m0, (1 - SHARE) C0),   T0 = SHARE C0

with the table's centre m0 and spread C0; T is the mean of T0 (worth CAMPAIGNS campaigns) and of
what the closed ones show, by expectation-maximisation. The running campaign gets
N(mean of mu, T + variance of mu): the spread between campaigns stays in the prior, or early
intervals would be too short.
SHARE and CAMPAIGNS are assumed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from aging.campaigns import Campaign
from aging.decay.elimination import COEFFICIENTS, site_level
from aging.decay.posterior import SitePosterior
from aging.decay.priors import Priors
from aging.decay.site import Array
from aging.vocabulary import DAYS_PER_MONTH

SHARE, CAMPAIGNS, MIN_WEIGHT, LEAST, ROUNDS = 0.5, 3.0, 0.05, 0.05, 20
STEADY = 0.3  # least weight of a slow loss that runs with time, for it to tell of one
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
    """A share of campaigns, from a prior that is worth CAMPAIGNS of them."""
    return (CAMPAIGNS * prior + sum(seen)) / (CAMPAIGNS + len(seen))


def _level(priors: Priors, closed: Sequence[SitePosterior]) -> tuple[Array, Array]:
    """Mean (2,) and covariance (2, 2) of the next campaign's site-level loss and drift.

    Where the slow loss of a campaign mostly began late it says nothing about a drift.
    """
    pick = np.ix_([LOSS, DRIFT], [LOSS, DRIFT])
    centre = np.array([priors.value("loss"), priors.value("drift")])
    seen, errors, priors_seen = [], [], []
    for one in closed:
        steady = ~_late(one)
        told = steady.mean() > STEADY
        rows = steady if told else ~steady
        draws = one.path[rows][:, :, [LOSS, DRIFT]].mean(axis=1)
        prior = site_level(priors, one.grid)[1][one.node[rows]].mean(axis=0)[pick]
        priors_seen.append(prior)
        if told:
            mean, cov = _without_prior(draws, centre, prior)
        else:
            loss, spread = _without_prior(draws[:, :1], centre[:1], prior[:1, :1])
            mean, cov = np.append(loss, centre[1]), np.diag([spread[0, 0], prior[1, 1] / LEAST])
        seen.append(mean)
        errors.append(cov)
    return _next(centre, np.mean(priors_seen, axis=0), np.array(seen), np.array(errors))


def _scalar(centre: float, spread: float, draws: Sequence[Array]) -> tuple[float, float]:
    """Centre and spread of the next campaign's value, from draws (D,) of each that tells of it."""
    prior = np.array([[spread**2]])
    most = max(one.size for one in draws)
    told = [
        _without_prior(one[:, None], np.array([centre]), prior)
        for one in draws
        if one.size > max(MIN_WEIGHT * most, 2)
    ]
    if not told or not most:
        return centre, spread
    seen, errors = (np.array(part) for part in zip(*told, strict=True))
    level, cov = _next(np.array([centre]), prior, seen, errors)
    return float(level[0]), float(cov[0, 0] ** 0.5)


def _without_prior(draws: Array, centre: Array, prior: Array) -> tuple[Array, Array]:
    """What the readings alone say: posterior draws (D, n) with a normal prior taken out."""
    unit = np.sqrt(np.diag(prior))
    units = np.outer(unit, unit)
    cov = np.atleast_2d(np.cov(draws.T)) / units + 1e-9 * np.eye(unit.size)
    inside = np.linalg.inv(prior / units)
    values, vectors = np.linalg.eigh(np.linalg.inv(cov) - inside)
    alone = vectors @ np.diag(1 / np.maximum(values, LEAST)) @ vectors.T
    pull = np.linalg.solve(cov, draws.mean(0) / unit) - inside @ (centre / unit)
    return alone @ pull * unit, alone * units


def _next(centre: Array, prior: Array, seen: Array, errors: Array) -> tuple[Array, Array]:
    """Mean and covariance of the next member of a population seen K times with errors."""
    unit = np.sqrt(np.diag(prior))
    units = np.outer(unit, unit)
    between = SHARE * prior / units
    wide = (1 - SHARE) * prior / units
    found, wrong = seen / unit, errors / units
    start = between
    for _ in range(ROUNDS):
        mean, _ = _population(centre / unit, wide, found, wrong + between)
        gain = between @ np.linalg.inv(wrong + between)
        apart = np.einsum("kij,kj->ki", gain, found - mean)
        expected = apart[:, :, None] * apart[:, None, :] + between - gain @ between
        between = (CAMPAIGNS * start + expected.sum(axis=0)) / (CAMPAIGNS + len(seen))
    mean, uncertain = _population(centre / unit, wide, found, wrong + between)
    return mean * unit, (between + uncertain) * units


def _population(centre: Array, prior: Array, seen: Array, errors: Array) -> tuple[Array, Array]:
    weights = np.linalg.inv(errors)
    precision = np.linalg.inv(prior) + weights.sum(axis=0)
    cov = np.linalg.inv(precision)
    pull = np.linalg.solve(prior, centre) + np.einsum("kij,kj->i", weights, seen)
    return cov @ pull, cov


def closed_campaigns(found: Sequence[Campaign], panels: pd.DataFrame) -> list[Campaign]:
    """Campaigns whose panels have all left the rack, read for at least MIN_MONTHS."""
    closed = set(panels.loc[panels["closed_on"].notna(), "panel"])
    long = [one for one in found if one.visits[-1] - one.exposed_on > MIN_MONTHS * MONTH]
    return [one for one in long if closed.issuperset(one.panels)]


def told(climate: str, before: Priors, after: Priors, number: int) -> str:
    """One sentence on how many precedents there were and what they changed."""
    change = [
        f"{name} {before.value(name):.2g} +/- {before.spread(name):.1g} became "
        f"{after.value(name):.2g} +/- {after.spread(name):.1g}"
        for name in ("loss", "drift")
    ]
    if (share := before.value("late_share")) > 0:
        change.append(f"share of late losses {share:.2f} became {after.value('late_share'):.2f}")
    closed = f"{number} closed campaign{'s' * (number > 1)}"
    return f"{climate}: priors from {closed}: {', '.join(change)}"
