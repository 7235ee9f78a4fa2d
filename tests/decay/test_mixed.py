"""Mixed models: exact in closed form and against dense algebra, typed ends, errors that help."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import multivariate_normal

from aging.decay.mixed import MixedOutcome, fit_mixed, fit_mixed_curve
from aging.errors import CallError, ModelError

PANELS, VISITS = 8, 6
PANEL, VISIT = np.repeat(np.arange(PANELS), VISITS), np.tile(np.arange(VISITS), PANELS)
TIME = VISIT / 4
LINE = np.column_stack([np.ones(PANEL.size), TIME])


def readings(seed=0, *, panel=0.01, slope=0.0, visit=0.0, residual=0.004):
    random = np.random.default_rng(seed)
    level, pace = random.normal(0, 1, (2, PANELS))
    y = 0.8 - 0.03 * TIME + panel * level[PANEL] + slope * pace[PANEL] * TIME
    y += visit * random.normal(0, 1, VISITS)[VISIT]
    return y + residual * random.normal(0, 1, PANEL.size)


@pytest.mark.parametrize("ratio", [1, 10, 1000])
def test_balanced_panels_as_analysis_of_variance_has_them(ratio):
    y = (readings(panel=0.004 * ratio) + 0.03 * TIME).reshape(PANELS, VISITS)
    fit = fit_mixed(y.ravel(), np.ones(y.size), {"panel": PANEL})
    within, between = y.var(axis=1, ddof=1).mean(), y.mean(axis=1).var(ddof=1)
    panel = fit.effects["panel"]
    assert fit.residual_sd == pytest.approx(within**0.5, rel=1e-5)
    assert panel.sd[0] == pytest.approx((between - within / VISITS) ** 0.5, rel=1e-5)
    assert fit.coefficients[0] == pytest.approx(y.mean())
    assert fit.standard_errors[0] == pytest.approx((between / PANELS) ** 0.5, rel=1e-5)
    shrunk = (y.mean(axis=1) - y.mean()) * (1 - within / VISITS / between)
    np.testing.assert_allclose(panel.predicted[:, 0], shrunk, rtol=1e-5)


def dense_system(fit, values, columns):
    """Covariance of the readings and of [beta, u] from Henderson's equations, in full."""
    blocks, prior = [columns], [np.zeros((columns.shape[1],) * 2)]
    for effect, code, z in values:
        q, r = effect.predicted.shape
        wide = np.zeros((len(columns), q * r))
        for j in range(r):
            wide[np.arange(len(columns)), code * r + j] = z[:, j]
        blocks.append(wide)
        prior.append(np.kron(np.eye(q), effect.correlation * np.outer(effect.sd, effect.sd)))
    W, p = np.hstack(blocks), columns.shape[1]
    precision, random = W.T @ W / fit.residual_sd**2, W[:, p:]
    G = np.zeros((random.shape[1],) * 2)
    start = 0
    for square in prior[1:]:
        here = slice(start, start + len(square))
        G[here, here] = square
        start += len(square)
    precision[p:, p:] += np.linalg.inv(G)
    V = random @ G @ random.T + fit.residual_sd**2 * np.eye(len(columns))
    return W, V, np.linalg.inv(precision)


@pytest.mark.parametrize("method", ["reml", "ml"])
def test_unbalanced_crossed_and_correlated_against_dense_algebra(method):
    keep = np.random.default_rng(1).random(PANEL.size) < 0.7
    y = readings(4, slope=0.03, visit=0.006)[keep]
    X, panel, visit = LINE[keep], PANEL[keep], VISIT[keep]
    fit = fit_mixed(y, X, {"visit": visit, "panel": (panel, X)}, method=method)
    order = [(fit.effects["panel"], panel, X), (fit.effects["visit"], visit, X[:, :1])]
    W, V, C = dense_system(fit, order, X)
    solution = C @ W.T @ y / fit.residual_sd**2
    np.testing.assert_allclose(fit.coefficients, solution[:2], rtol=1e-8)
    np.testing.assert_allclose(fit.covariance, C[:2, :2], rtol=1e-8)
    np.testing.assert_allclose(fit.fitted, W @ solution, rtol=1e-8)
    errors = np.sqrt(np.diag(C))[2:]
    np.testing.assert_allclose(order[0][0].standard_errors.ravel(), errors[: 2 * PANELS], rtol=1e-8)
    np.testing.assert_allclose(order[1][0].standard_errors.ravel(), errors[2 * PANELS :], rtol=1e-8)
    log = multivariate_normal(X @ fit.coefficients, V).logpdf(y)
    if method == "reml":
        log += np.linalg.slogdet(fit.covariance)[1] / 2 + np.log(2 * np.pi)
    assert fit.log_likelihood == pytest.approx(log, abs=1e-8)


def test_the_order_of_effects_and_of_readings_does_not_matter():
    y = readings(4, visit=0.006)
    one = fit_mixed(y, LINE, {"panel": PANEL, "visit": VISIT})
    mixed = np.random.default_rng(5).permutation(y.size)
    other = fit_mixed(y[mixed], LINE[mixed], {"visit": VISIT[mixed], "panel": PANEL[mixed]})
    np.testing.assert_allclose(other.coefficients, one.coefficients, rtol=1e-6)
    for name in ("panel", "visit"):
        np.testing.assert_allclose(other.effects[name].sd, one.effects[name].sd, rtol=1e-4)


def test_units_of_reading_and_of_time_only_rescale():
    y = readings(6, slope=0.006)
    one = fit_mixed(y, LINE, {"panel": (PANEL, LINE)})
    days = LINE * [1, 365]
    other = fit_mixed(100 * y, days, {"panel": (PANEL, days)})
    np.testing.assert_allclose(
        other.effects["panel"].sd, 100 * one.effects["panel"].sd / [1, 365], rtol=1e-4
    )
    np.testing.assert_allclose(other.coefficients, 100 * one.coefficients / [1, 365], rtol=1e-6)
    assert other.residual_sd == pytest.approx(100 * one.residual_sd, rel=1e-5)


def test_a_spread_that_is_not_there_is_a_typed_end_and_ordinary_least_squares():
    zero = 0
    for seed in range(20):
        y = readings(seed, panel=0)
        fit = fit_mixed(y, LINE, {"panel": PANEL})
        assert fit.outcome in {MixedOutcome.FITTED, MixedOutcome.SPREAD_AT_ZERO}
        if fit.outcome is MixedOutcome.SPREAD_AT_ZERO:
            zero += 1
            plain, rss, *_ = np.linalg.lstsq(LINE, y)
            assert fit.effects["panel"].sd[0] == 0
            assert not fit.effects["panel"].predicted.any()
            np.testing.assert_allclose(fit.coefficients, plain, rtol=1e-10)
            assert fit.residual_sd == pytest.approx((rss[0] / (y.size - 2)) ** 0.5)
    assert 5 <= zero <= 17  # half of them, as the difference of two variances is as often negative


def test_slopes_that_go_with_levels_end_at_correlation_one():
    level = np.random.default_rng(7).normal(0, 0.02, PANELS)
    y = readings(7, panel=0) + level[PANEL] * (1 + TIME)
    fit = fit_mixed(y, LINE, {"panel": (PANEL, LINE)})
    assert fit.outcome is MixedOutcome.CORRELATION_AT_ONE
    assert fit.outcome.label == "correlation at one"
    assert fit.effects["panel"].correlation[0, 1] == pytest.approx(1)


def test_readings_without_a_residual_are_a_typed_end():
    fit = fit_mixed(readings(residual=0), LINE, {"panel": PANEL})
    assert fit.outcome is MixedOutcome.RESIDUAL_AT_ZERO


def test_codes_may_be_text_and_several_columns():
    y = readings(8)
    site = np.where(PANEL < 4, "humid", "dry")
    both = np.column_stack([site, (PANEL % 4).astype(str)])
    plain, nested = fit_mixed(y, LINE, {"p": PANEL}), fit_mixed(y, LINE, {"p": both})
    series = fit_mixed(y, LINE, {"p": pd.Series([f"{a}{b}" for a, b in both])})
    assert nested.effects["p"].levels.shape == (PANELS, 2)
    assert series.effects["p"].levels[0] == "dry0"
    assert nested.effects["p"].sd == pytest.approx(plain.effects["p"].sd)
    assert series.log_likelihood == pytest.approx(plain.log_likelihood)


def test_ignoring_the_visit_makes_the_common_slope_look_too_sure():
    y = readings(9, visit=0.01)
    with_visit = fit_mixed(y, LINE, {"panel": PANEL, "visit": VISIT})
    without = fit_mixed(y, LINE, {"panel": PANEL})
    assert with_visit.standard_errors[1] > 2 * without.standard_errors[1]


def test_a_curve_comes_back_from_simulated_panels():
    theta, off = 1.5, []
    for seed in range(12):
        noise = readings(seed, panel=0.01, residual=0.003) - 0.8 + 0.03 * TIME
        y = 0.84 - 0.15 * (1 - np.exp(-theta * TIME)) + noise

        def design(rate):
            soiled = 1 - np.exp(-rate[0] * TIME)
            return np.column_stack([np.ones(TIME.size), -soiled]), {"panel": PANEL}

        fit = fit_mixed_curve(y, design, [0.7])
        truth = [0.84, 0.15, theta]
        seen = [*fit.coefficients, *fit.theta]
        off.append((np.array(seen) - truth) / fit.standard_errors)
    spread = np.std(off, axis=0)
    assert np.abs(np.mean(off, axis=0)).max() < 0.8
    assert ((spread > 0.6) & (spread < 1.5)).all()


BAD_CALLS = {
    "a missing reading": lambda: fit_mixed(
        [0.8, np.nan, 0.7, 0.8], np.ones(4), {"p": [1, 1, 2, 2]}
    ),
    "a short X": lambda: fit_mixed(readings(), LINE[1:], {"p": PANEL}),
    "more columns than readings": lambda: fit_mixed([1.0, 2], [[1, 2], [1, 3]], {"p": [1, 2]}),
    "an infinite X": lambda: fit_mixed(readings(), np.where(LINE == 0, np.inf, LINE), {"p": PANEL}),
    "a missing label": lambda: fit_mixed(readings(), LINE, {"p": np.where(PANEL, "b", None)}),
    "short codes": lambda: fit_mixed(readings(), LINE, {"p": PANEL[1:]}),
    "no effects": lambda: fit_mixed(readings(), LINE, {}),
    "zeros in Z": lambda: fit_mixed(readings(), LINE, {"p": (PANEL, 0 * LINE)}),
    "another method": lambda: fit_mixed(readings(), LINE, {"p": PANEL}, method="mle"),
}
BAD_MODELS = {
    "follows from the others": lambda: fit_mixed(readings(), LINE[:, [1, 1]], {"p": PANEL}),
    "X holds it already": lambda: fit_mixed(readings(), np.eye(PANELS)[PANEL], {"p": PANEL}),
    "divide the readings alike": lambda: fit_mixed(readings(), LINE, {"p": PANEL, "q": -PANEL}),
    "X meets every reading": lambda: fit_mixed(np.ones(PANEL.size), LINE, {"p": PANEL}),
    "effect 'p': 48 levels": lambda: fit_mixed(readings(), LINE, {"p": np.arange(48)}),
    "effect 'p': 1 levels": lambda: fit_mixed(readings(), LINE, {"p": 0 * PANEL}),
}


@pytest.mark.parametrize("what", BAD_CALLS)
def test_a_wrong_argument_is_named_with_what_is_allowed(what):
    with pytest.raises(CallError, match="is not allowed; allowed: "):
        BAD_CALLS[what]()


@pytest.mark.parametrize("words", BAD_MODELS)
def test_what_cannot_be_told_apart_is_said(words):
    with pytest.raises(ModelError, match=words):
        BAD_MODELS[words]()
