"""Scores of forecasts against closed forms, definitions and statsmodels' Wilson interval."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm
from statsmodels.stats.proportion import proportion_confint

from aging.decay.scores import (
    coverage,
    crps_draws,
    crps_normal,
    interval_score,
    pinball,
    violation,
    wilson,
)
from aging.errors import CallError


def test_crps_of_the_standard_normal():
    seen = crps_normal([0, 1, 0], 0, [1, 1, 0])
    np.testing.assert_allclose(seen, [0.2336950, 0.6024414, 0], atol=5e-8)
    assert crps_normal(3, 1, 0) == 2


def test_crps_is_the_integral_of_the_squared_gap_between_distributions():
    y, mean, sd = 0.71, 0.68, 0.02
    below = quad(lambda x: norm.cdf(x, mean, sd) ** 2, mean - 10 * sd, y)[0]
    above = quad(lambda x: norm.sf(x, mean, sd) ** 2, y, mean + 10 * sd)[0]
    assert crps_normal(y, mean, sd) == pytest.approx(below + above, rel=1e-6)


def test_crps_of_draws_by_its_definition():
    random = np.random.default_rng(0)
    y, draws = random.normal(size=5), random.normal(size=(5, 7))
    near = np.abs(draws - y[:, None]).mean(axis=1)
    apart = np.abs(draws[:, :, None] - draws[:, None, :]).sum(axis=(1, 2)) / 2
    np.testing.assert_allclose(crps_draws(y, draws), near - apart / (7 * 6))
    np.testing.assert_allclose(crps_draws(y, draws, fair=False), near - apart / 7**2)
    np.testing.assert_allclose(crps_draws(y, draws[:, :1], fair=False), np.abs(draws[:, 0] - y))


@pytest.mark.parametrize("y", [0.0, 1.0])
def test_crps_of_draws_converges_to_the_normal_one(y):
    draws = np.random.default_rng(1).normal(size=200_000)
    assert crps_draws(y, draws) == pytest.approx(crps_normal(y, 0, 1), abs=0.005)


def test_the_fair_score_does_not_depend_on_the_number_of_draws():
    draws = np.random.default_rng(2).normal(size=(40_000, 3))
    assert crps_draws(np.zeros(40_000), draws).mean() == pytest.approx(0.2336950, abs=0.01)
    few = crps_draws(np.zeros(40_000), draws, fair=False).mean()
    assert few == pytest.approx(0.2336950 + 1 / np.sqrt(np.pi) / 3, abs=0.01)


def test_interval_score_and_pinball_by_hand():
    seen = interval_score([0.70, 0.55, 0.82], 0.60, 0.80, level=0.90)
    np.testing.assert_allclose(seen, [0.20, 0.20 + 20 * 0.05, 0.20 + 20 * 0.02])
    np.testing.assert_allclose(pinball([0.7, 0.5], 0.6, 0.05), [0.05 * 0.1, 0.95 * 0.1])


def test_an_interval_scores_as_its_two_quantiles():
    y = np.random.default_rng(3).normal(size=50)
    ends = pinball(y, -1.6, 0.05) + pinball(y, 1.6, 0.95)
    np.testing.assert_allclose(interval_score(y, -1.6, 1.6, 0.9), ends * 2 / 0.1)


@pytest.mark.parametrize(
    "score",
    [
        lambda y, shift, by: interval_score(y, shift - 1.645 * by, shift + 1.645 * by, 0.9),
        lambda y, shift, by: pinball(y, shift - 1.645 * by, 0.05),
        crps_normal,
    ],
)
def test_the_true_forecast_scores_best(score):
    y = np.random.default_rng(4).normal(size=20_000)
    best = score(y, 0, 1).mean()
    assert all(
        score(y, *wrong).mean() > best for wrong in [(0.3, 1), (-0.3, 1), (0, 1.4), (0, 0.7)]
    )


@pytest.mark.parametrize(("count", "n"), [(0, 9), (9, 10), (171, 200), (19, 19), (1, 1)])
def test_wilson_as_statsmodels_has_it(count, n):
    peer = proportion_confint(count, n, alpha=0.10, method="wilson")
    np.testing.assert_allclose(wilson(count / n, n, 0.90), peer, atol=1e-12)


def test_coverage_counts_ends_as_held_and_violation_counts_them_as_kept():
    y, lower, upper = [1.0, 2, 3, 4], [1.0, 2.1, -np.inf, 0], [2.0, 3, 3, np.inf]
    held = coverage(y, lower, upper)
    assert (held.count, held.n, held.share) == (3, 4, 0.75)
    assert (held.lower, held.upper) == pytest.approx(proportion_confint(3, 4, method="wilson"))
    assert violation(y, lower).count == 1
    assert violation(y, upper, "upper").count == 0


def test_fewer_independent_series_widen_the_interval_only():
    y = np.arange(100.0)
    all_of_them, ten = coverage(y, -1, 89), coverage(y, -1, 89, independent=10)
    assert (ten.share, ten.n) == (all_of_them.share, all_of_them.n) == (0.9, 100)
    assert (ten.lower, ten.upper) == pytest.approx(proportion_confint(9, 10, method="wilson"))


@pytest.mark.parametrize("call", [
    lambda: coverage([np.nan], 0, 1), lambda: coverage([], [], []),
    lambda: coverage([1, 2], 0, 3, independent=3), lambda: crps_draws(1, [1.0]),
    lambda: crps_normal(1, 1, -1), lambda: interval_score(1, 0, 1, 90),
    lambda: pinball(1, 1, 0), lambda: violation(1, 1, "left"), lambda: wilson(0.5, 0),
    lambda: wilson(1.5, 3),
])  # fmt: skip
def test_a_wrong_argument_is_named(call):
    with pytest.raises(CallError, match="is not allowed"):
        call()
