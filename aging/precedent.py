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
import pandas as pd

from aging.campaigns import Campaign
from aging.decay.elimination import COEFFICIENTS, site_level
from aging.decay.posterior import SitePosterior
from aging.decay.priors import Priors
from aging.decay.site import Array
from aging.vocabulary import DAYS_PER_MONTH

SHARE, CAMPAIGNS, MIN_WEIGHT, LEAST, ROUNDS = 0.5, 3.0, 0.05, 0.05, 20
MIN_MONTHS, MONTH = 24, pd.Timedelta(days=DAYS_PER_MONTH)
LOSS, DRIFT = COEFFICIENTS.index("loss"), COEFFICIENTS.index("drift")


def learn(priors: Priors, closed: Sequence[SitePosterior]) -> Priors:
    """Priors of a running campaign from the posteriors of closed ones, fitted with `priors`."""
    if not closed:
        return priors
    table = priors.table.copy()
    number = f"{len(closed)} closed campaign{'s' * (len(closed) > 1)} of the same climate"
    level, cov = _level(priors, closed)
    sd = np.sqrt(np.diag(cov))
    for name in ("loss", "drift", "drift_wide"):
        i = int(name != "loss")
        table.loc[name, ["value", "spread"]] = [level[i], sd[i]]
        table.loc[name, "source"] = number
    table.loc["loss_drift", ["value", "source"]] = [cov[0, 1] / sd.prod(), number]
    for course in priors.courses:
        seen = [one for one in closed if one.course_weight[course] > MIN_WEIGHT]
        centre, spread = _parameter(priors, course, seen)
        table.loc[f"rate_{course}", ["value", "spread"]] = [centre, spread]
        table.loc[f"rate_{course}", ["unit", "source"]] = ["1/time and log", number]
    return Priors(table, priors.time)


def _level(priors: Priors, closed: Sequence[SitePosterior]) -> tuple[Array, Array]:
    """Mean (2,) and covariance (2, 2) of the next campaign's site-level loss and drift."""
    pick = np.ix_([LOSS, DRIFT], [LOSS, DRIFT])
    seen, errors, priors_seen = [], [], []
    for one in closed:
        draws = one.path[:, :, [LOSS, DRIFT]].mean(axis=1)
        prior = site_level(priors, one.grid)[1][one.node].mean(axis=0)[pick]
        mean, cov = _without_prior(
            draws, np.array([priors.value(n) for n in ("loss", "drift")]), prior
        )
        seen.append(mean)
        errors.append(cov)
        priors_seen.append(prior)
    centre = np.array([priors.value("loss"), priors.value("drift")])
    return _next(centre, np.mean(priors_seen, axis=0), np.array(seen), np.array(errors))


def _parameter(priors: Priors, course: str, closed: Sequence[SitePosterior]) -> tuple[float, float]:
    """Centre and log spread of the next campaign's parameter of one course."""
    centre, spread = priors.parameter(course)
    seen, errors = [], []
    for one in closed:
        rows = one.grid.course[one.node] == one.grid.courses.index(course)
        draws = np.log(one.grid.parameter[one.node[rows]])[:, None]
        if len(draws) > len(one.node) * MIN_WEIGHT / 2:
            mean, cov = _without_prior(draws, np.array([np.log(centre)]), np.array([[spread**2]]))
            seen.append(mean)
            errors.append(cov)
    if not seen:
        return centre, spread
    prior = np.array([[spread**2]])
    level, cov = _next(np.array([np.log(centre)]), prior, np.array(seen), np.array(errors))
    return float(np.exp(level[0])), float(cov[0, 0] ** 0.5)


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
    change = ", ".join(
        f"{name} {before.value(name):.2g} +/- {before.spread(name):.1g} became "
        f"{after.value(name):.2g} +/- {after.spread(name):.1g}"
        for name in ("loss", "drift")
    )
    return f"{climate}: priors from {number} closed campaign{'s' * (number > 1)}: {change}"
