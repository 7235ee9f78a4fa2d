"""Which course of loss forecasts best: weights from how each foretold later visits.

In-sample evidence prefers the wrong course when the series is short. A course is therefore judged
by the density it gave, from the first FIRST_SHARE of the visits, to the visits that came after;
the score counts the groups of one site as TEMPER independent proofs, since they share weather.
Below MIN_VISITS visits or a full year nothing can be foretold and the prior's weights stand.
"""

from __future__ import annotations

import numpy as np

from aging.decay.elimination import eliminate
from aging.decay.nodes import Grid
from aging.decay.priors import Priors
from aging.decay.site import Array, SiteReadings
from aging.decay.spreads import PanelSpreads

FIRST_SHARE, MIN_VISITS, FULL_YEAR, TEMPER = 0.6, 8, 11.5, 2.0


def _log_sum(values: Array) -> float:
    top = values.max(initial=-np.inf)
    return float(top + np.log(np.exp(values - top).sum())) if values.size else -np.inf


def foretold(  # noqa: PLR0917 - the model has this many parts
    site: SiteReadings, grid: Grid, priors: Priors, spreads: PanelSpreads, calm: Array,
    log_likelihood: Array,
) -> Array:  # fmt: skip
    """Log density (C,) that each course gave to the later visits, mean over the site's groups.

    `log_likelihood` (N,) is that of all visits. Zeros where the series is too short.
    """
    open_visits = np.flatnonzero(site.washed == 0)
    year = FULL_YEAR / 12 * priors.value("year")
    if open_visits.size < MIN_VISITS or site.last < year:
        return np.zeros(len(grid.courses))
    cut = site.months[open_visits[round(open_visits.size * FIRST_SHARE)]]
    early = site.months < cut
    whole = log_likelihood + grid.log_prior
    first = eliminate(site.visits(early), grid, priors, spreads, calm[early]).log_likelihood
    first = first + grid.log_prior
    score = [
        _log_sum(whole[grid.course == i]) - _log_sum(first[grid.course == i])
        if (grid.course == i).any()
        else -np.inf
        for i in range(len(grid.courses))
    ]
    return np.array(score) / site.groups


def course_weights(prior: Array, score: Array) -> Array:
    """Weights (C,) from prior weights and the tempered scores of `foretold`, summing to 1."""
    weight = prior * np.exp(TEMPER * (score - score.max()))
    return weight / weight.sum()
