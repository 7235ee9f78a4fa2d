"""Simultaneous intervals against published comparisons, in the case both can do.

For groups of independent normal readings with one variance and flat priors the joint posterior of
the means is a multivariate t, so that drawing from it and taking the family's intervals must give
the classical ones, up to the draws (1e6: ends within 0.005, of Tukey 0.02).

Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096-1121, blood counts: simultaneous 95 % intervals of two
treatments against the control. Recovery: four blankets after surgery, 20, 3, 3 and 15 patients
(Bretz, Hothorn, Westfall, Multiple Comparisons Using R, 2010; R's multcomp), one-sided 95 % bounds
from above. Tukey: three groups of the example in scipy's documentation. TOST: the example of
statsmodels' test suite ("clinic", variables 2 and 3, margin 0.6), by the p published there.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import scipy.stats

from aging.comparison.family import intervals, rank_probabilities

DRAWS = 1_000_000
CLINIC_2 = (
    [2.84, 2.51, 2.41, 2.95, 3.14, 3.79, 4.14, 3.85, 3.02, 3.45, 5.37, 3.81, 4.19, 3.16, 3.84],
    [2.60, 2.82, 2.18, 3.46, 4.01, 3.04, 3.47, 4.06, 2.91, 3.59, 4.51, 3.16, 3.86, 3.31, 3.02],
)
CLINIC_3 = (
    [4.00, 3.26, 4.14, 3.42, 3.25, 4.34, 4.97, 4.31, 3.11, 3.41, 5.02, 4.21, 4.59, 5.30, 4.32],
    [3.76, 3.66, 3.65, 3.60, 3.48, 2.87, 3.24, 3.92, 3.99, 4.21, 4.21, 3.31, 3.61, 2.97, 2.73],
)
CONTROL = [7.40, 8.50, 7.20, 8.24, 9.84, 8.32]
DRUG_A, DRUG_B = [9.76, 8.80, 7.68, 9.36], [12.80, 9.68, 12.16, 9.20, 10.55]
RECOVERY = [
    [15, 13, 12, 16, 16, 17, 13, 13, 16, 17, 17, 19, 17, 15, 13, 12, 16, 10, 17, 12],
    [13, 16, 9], [5, 8, 9], [14, 16, 16, 12, 7, 12, 13, 13, 9, 16, 13, 18, 13, 12, 13],
]  # fmt: skip
TUKEY = [
    [24.5, 23.5, 26.4, 27.1, 29.9], [28.4, 34.2, 29.5, 32.2, 30.1], [26.1, 28.3, 24.3, 26.2, 27.8],
]  # fmt: skip


def means(groups, draws=DRAWS, seed=20):
    """Posterior draws of the groups' means."""
    random, values = np.random.default_rng(seed), [np.array(group) for group in groups]
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


def test_one_sided_bounds_of_unequal_groups():
    drawn = means(RECOVERY)
    found = intervals(drawn[1:] - drawn[0], 0.95, above=True).bound
    assert found == pytest.approx([1.3670, -3.9663, 0.2644], abs=0.01)
    turned = intervals(drawn[0] - drawn[1:], 0.95).bound
    assert turned == pytest.approx(-found, abs=1e-9)


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


@pytest.mark.parametrize(("new", "old", "p"), [(*CLINIC_2, 0.04827315), (*CLINIC_3, 0.43169348)])
def test_two_one_sided_tests(new, old, p):
    """The larger tail beyond the margin is the p of the two one-sided tests."""
    first, second = means([new, old])
    gap, margin = first - second, 0.6
    assert max((gap > margin).mean(), (gap < -margin).mean()) == pytest.approx(p, abs=1.5e-3)


def test_power_of_two_groups():
    """R's power.t.test: n = 20, difference and sd 1, 5 %: 0.8689528; counted on 1500 trials."""
    random, shown = np.random.default_rng(11), 0
    for trial in range(1500):
        one, other = means(random.normal([[0.0], [1.0]], 1.0, (2, 20)), 1000, seed=trial)
        shown += intervals((other - one)[None], 0.95).lower[0] > 0
    assert shown / 1500 == pytest.approx(0.8689528, abs=0.025)


def test_ranks_are_chances():
    drawn = means([CONTROL, DRUG_A, DRUG_B], 20_000)
    found = rank_probabilities(drawn, higher_is_better=True)
    assert found.sum(axis=0) == pytest.approx([1, 1, 1])
    assert found.sum(axis=1) == pytest.approx([1, 1, 1])
    assert found[2, 0] > 0.9
    assert found[0, 0] < 0.1
    turned = rank_probabilities(drawn, higher_is_better=False)
    assert turned[:, ::-1] == pytest.approx(found)
