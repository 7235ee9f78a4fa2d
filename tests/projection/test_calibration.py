"""Simulation-based calibration: ranks of the truth among the draws are uniform (pytest -m slow -s).

Talts, Betancourt, Simpson, Vehtari, Gelman 2018, arXiv 1804.06788: where parameters come from the
prior and readings from the model, the rank of the truth among independent posterior draws is
uniform. A site is fitted with its own course alone: between courses the evidence has no say, by
decision, so that ranks over all of them need not be uniform. Spreads of replicates, which the fit
takes from the readings, are the table's.
"""

from __future__ import annotations

import numpy as np
import pytest
from prior_campaigns import LATE, draw_site
from scipy.stats import chisquare, kstest

from aging.decay.posterior import fit_site
from aging.decay.priors import Priors, priors_for
from aging.vocabulary import PROPERTIES

PRIORS = priors_for(PROPERTIES["solar_reflectance"])
SITES, DRAWS, BINS = 400, 999, 10
NAMES = ("state", "reading", "mean of states", "difference of states")


def only(course):
    """The priors with one course of loss."""
    others = [f"weight_{name}" for name in PRIORS.courses if name != course]
    return Priors(PRIORS.table.drop(others), PRIORS.time)


def quantities(state, reading):
    """From (..., G) of one site: a state, a reading, and what groups share and do not share."""
    return np.stack(
        [state[..., 0], reading[..., 0], state.mean(-1), state[..., 1] - state[..., 0]], axis=-1
    )


@pytest.fixture(scope="module", params=[(7, 11.0), (11, 24.0)], ids="{0[1]:.0f} months".format)
def pairs(request):
    """Truth (N, 4) and draws (N, D, 4): before any late loss, and with its onset in sight."""
    visits, last = request.param
    truth, draws = [], []
    for number in range(SITES):
        random = np.random.default_rng([7, number])
        drawn = draw_site(PRIORS, random, visits=visits, last=last)
        fitted = fit_site(drawn.readings, only(drawn.course), draws=DRAWS, seed=number)
        truth.append(quantities(drawn.state, drawn.reading))
        draws.append(quantities(*(target[0] for target in fitted.at([LATE]))))
    return np.array(truth), np.array(draws)


def p_values(truth, draws):
    """Chi-square over bins and Kolmogorov-Smirnov of the ranks, of each quantity."""
    ranks = (draws < truth[:, None]).sum(axis=1)
    bins = np.stack([np.bincount(r * BINS // (DRAWS + 1), minlength=BINS) for r in ranks.T])
    shares = (ranks + 0.5) / (DRAWS + 1)
    for name, counts in zip(NAMES, bins, strict=True):
        print(f"{name:21}", counts)
    return np.array([[chisquare(b).pvalue, kstest(s, "uniform").pvalue]
                     for b, s in zip(bins, shares.T, strict=True)])  # fmt: skip


@pytest.mark.slow
def test_ranks_of_the_truth_are_uniform(pairs):
    found = p_values(*pairs)
    print(found.round(3))
    assert found.min() > 0.01


@pytest.mark.slow
@pytest.mark.parametrize("factor", [0.7, 1.4])
def test_a_posterior_too_narrow_or_too_wide_would_be_found(pairs, factor):
    truth, draws = pairs
    middle = np.median(draws, axis=1, keepdims=True)
    assert (p_values(truth, middle + factor * (draws - middle))[:, 0] < 0.01).all()


@pytest.mark.slow
def test_a_posterior_off_its_place_would_be_found(pairs):
    truth, draws = pairs
    assert (p_values(truth, draws + 0.4 * draws.std(axis=1, keepdims=True))[:, 1] < 0.01).all()
