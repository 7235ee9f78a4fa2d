"""How much replicate panels differ: residual, initial value, loss; from contrasts within groups.

In the difference of a panel from its group's mean at the same visit every shared effect cancels
(weather, set-up, operator, curve). Moments of those differences are shrunk to the prior with the
weight of `PRIOR_PANELS` panels each and `PRIOR_READINGS` readings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aging.decay.priors import Priors
from aging.decay.site import Array, SiteReadings

PRIOR_PANELS = np.array([8.0, 5.0])  # initial value, loss: the table knows less of the latter
PRIOR_READINGS, CLIP = 10.0, 4.0


@dataclass(frozen=True)
class PanelSpreads:
    """Standard deviations in the property's unit."""

    residual: float
    initial: float
    loss: float


def _contrasts(site: SiteReadings) -> Array:
    """Deviation of each reading from its group's mean at the visit, unbiased in size; NaN alone."""
    read = ~np.isnan(site.values)
    counts = np.zeros((site.groups, site.months.size))
    sums = np.zeros_like(counts)
    np.add.at(counts, site.group, read.astype(np.float64))
    np.add.at(sums, site.group, np.where(read, site.values, 0.0))
    n = counts[site.group]
    mean = sums[site.group] / np.maximum(n, 1)
    grow = np.sqrt(n / np.maximum(n - 1, 1))
    return np.where(read & (n > 1), (site.values - mean) * grow, np.nan)


def panel_spreads(site: SiteReadings, priors: Priors) -> PanelSpreads:
    """Spreads of the replicates of a site."""
    contrasts = _contrasts(site)
    late = -np.expm1(-priors.value("rate") * np.maximum(site.months, 0.0))
    noise, freedom = 0.0, 0.0
    coefficients, leverage = [], []
    for row in contrasts:
        seen = ~np.isnan(row)
        design = np.stack([np.ones(seen.sum()), -late[seen]], axis=1)
        if seen.sum() < 4 or np.ptp(late[seen]) < 0.2:  # noqa: PLR2004 - two coefficients, two to spare
            continue
        inverse = np.linalg.inv(design.T @ design)
        fitted = inverse @ design.T @ row[seen]
        error = row[seen] - design @ fitted
        limit = CLIP * 1.48 * np.median(np.abs(error)) + 1e-4 * priors.value("loss_between")
        noise += float((np.clip(error, -limit, limit) ** 2).sum())
        freedom += float(seen.sum() - 2)
        coefficients.append(fitted)
        leverage.append(np.diag(inverse))
    residual = (noise + PRIOR_READINGS * priors.value("residual") ** 2) / (freedom + PRIOR_READINGS)
    prior = np.array([priors.value("panel_initial"), priors.value("panel_loss")]) ** 2
    independent = len(coefficients) * (1 - site.groups / max(site.group.size, 1))
    excess = np.zeros(2)
    if coefficients:
        excess = np.mean(np.square(coefficients) - residual * np.array(leverage), axis=0)
    variance = (independent * np.maximum(excess, 0) + PRIOR_PANELS * prior) / (
        independent + PRIOR_PANELS
    )
    return PanelSpreads(residual**0.5, float(variance[0] ** 0.5), float(variance[1] ** 0.5))
