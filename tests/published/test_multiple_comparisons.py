"""Simultaneous intervals against published comparisons, in the case both can do.

For groups of independent normal readings with one variance and flat priors the joint posterior of
the means is a multivariate t, so that drawing from it and taking the family's intervals must give
the classical ones, up to the draws (1e6: ends within 0.005, of Tukey 0.02).

Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096-1121, blood counts: simultaneous 95 % intervals of two
treatments against the control. Tukey: three groups of the example in scipy's documentation. TOST:
the example of statsmodels' test suite ("clinic", variables 2 and 3, margin 0.6).
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import scipy.stats

from aging.comparison.family import intervals, rank_probabilities

DRAWS = 1_000_000
CONTROL = [7.40, 8.50, 7.20, 8.24, 9.84, 8.32]
DRUG_A, DRUG_B = [9.76, 8.80, 7.68, 9.36], [12.80, 9.68, 12.16, 9.20, 10.55]
TUKEY = [
    [24.5, 23.5, 26.4, 27.1, 29.9], [28.4, 34.2, 29.5, 32.2, 30.1], [26.1, 28.3, 24.3, 26.2, 27.8],
]  # fmt: skip


def means(groups, draws=DRAWS):
    """Posterior draws of the groups' means."""
    random, values = np.random.default_rng(20), [np.array(group) for group in groups]
    degrees = sum(map(len, values)) - len(values)
    rss = sum(((one - one.mean()) ** 2).sum() for one in values)
    spread = np.sqrt(rss / random.chisquare(degrees, draws))
    return np.stack(
        [one.mean() + spread * random.standard_normal(draws) / len(one) ** 0.5 for one in values]
    )


@pytest.fixture(scope="module")
def blood():
    drawn = means([CONTROL, DRUG_A, DRUG_B])
    return drawn[1:] - drawn[0]


def test_dunnett(blood):
    found = intervals(blood, 0.95)
    assert found.joint_lower == pytest.approx([-1.257, 0.839], abs=0.005)
    assert found.joint_upper == pytest.approx([2.557, 4.417], abs=0.005)
    assert (found.joint_lower < found.lower).all()
    assert (found.joint_upper > found.upper).all()


def test_tukey():
    drawn = means(TUKEY)
    gaps = np.stack([drawn[late] - drawn[early] for early, late in combinations(range(3), 2)])
    found = intervals(gaps, 0.95)
    assert found.estimate == pytest.approx([4.6, 0.26, -4.34], abs=0.02)
    assert found.joint_lower[0] == pytest.approx(0.9508, abs=0.02)
    assert found.joint_upper[0] == pytest.approx(8.2492, abs=0.02)
    exact = scipy.stats.tukey_hsd(*TUKEY).confidence_interval(0.95)
    assert found.joint_lower[1] == pytest.approx(exact.low[2, 0], abs=0.02)
    assert found.joint_upper[2] == pytest.approx(exact.high[2, 1], abs=0.02)


def test_one_difference_needs_no_widening(blood):
    found = intervals(blood[:1], 0.95)
    assert found.factor == pytest.approx(1, abs=0.002)


def test_a_difference_that_is_certain_neither_breaks_nor_widens_the_others(blood):
    alone, also = intervals(blood, 0.9), intervals(np.vstack([blood, np.zeros((1, DRAWS))]), 0.9)
    assert also.factor == alone.factor
    assert (also.joint_lower[2], also.joint_upper[2]) == (0, 0)


@pytest.mark.parametrize(("lower", "upper", "p"), [(3.0204567, -1.7195800, 0.04827315)])
def test_two_one_sided_tests(lower, upper, p):
    """The larger tail beyond the margin is the p of the two one-sided tests."""
    margin, degrees = 0.6, 28
    error = 2 * margin / (lower - upper)
    gap = (lower * error - margin) + error * np.random.default_rng(3).standard_t(degrees, DRAWS)
    tails = (gap > margin).mean(), (gap < -margin).mean()
    assert max(tails) == pytest.approx(p, abs=5e-4)
    assert min(tails) == pytest.approx(0.00266992, abs=2e-4)


def test_ranks_are_chances():
    drawn = means([CONTROL, DRUG_A, DRUG_B], 20_000)
    found = rank_probabilities(drawn, higher_is_better=True)
    assert found.sum(axis=0) == pytest.approx([1, 1, 1])
    assert found.sum(axis=1) == pytest.approx([1, 1, 1])
    assert found[2, 0] > 0.9
    assert found[0, 0] < 0.1
    turned = rank_probabilities(drawn, higher_is_better=False)
    assert turned[:, ::-1] == pytest.approx(found)
