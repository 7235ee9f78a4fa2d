from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import t as student
from series_example import exposures

from aging.decay.outcome import IntervalOutcome, Outcome
from aging.decay.profile import profile_interval
from aging.decay.series import fit_series
from aging.errors import CallError

T = np.array([0.0, 1, 2, 3, 4, 6, 8, 10, 12])
NOISE = np.array([2, -3, 1, 4, -2, -1, 3, -4, 1]) * 1e-3
Y = 0.84 - 0.2 * (1 - np.exp(-0.15 * T)) + NOISE


def one(target, months=T, values=Y, **more):
    return profile_interval(months, values, [0, len(months)], target, **more)


def best_rss_with_the_value_held(gamma, month, y):
    """Least sum of squares of paths through (month, gamma): the definition, searched plainly."""

    def rss(log_rate):
        rate = np.exp(log_rate)
        column = np.exp(-rate * T) - np.exp(-rate * month)
        rest = y - gamma
        return ((rest - column * (column @ rest) / (column @ column)) ** 2).sum()

    grid = np.linspace(np.log(1e-3), np.log(30), 200)
    at = grid[np.argmin([rss(x) for x in grid])]
    return minimize_scalar(rss, bounds=(at - 0.1, at + 0.1), method="bounded").fun


def limit_of(fit, level):
    df = fit.n[0] - 3
    return fit.rss[0] * (1 + student.ppf((1 + level) / 2, df) ** 2 / df)


@pytest.mark.parametrize("level", [0.5, 0.9])
@pytest.mark.parametrize("month", [0.0, 5.0, 36.0])
def test_the_ends_are_where_the_best_path_through_them_reaches_the_limit(month, level):
    found = one("value", at=month, level=level)
    limit = limit_of(found.fit, level)
    for end in (found.lower[0], found.upper[0]):
        assert best_rss_with_the_value_held(end, month, Y) == pytest.approx(limit, rel=1e-4)
    inside = 0.9 * found.upper[0] + 0.1 * found.estimate[0]
    assert best_rss_with_the_value_held(inside, month, Y) < limit
    assert found.outcome[0] == IntervalOutcome.CLOSED


def test_the_ends_of_the_rate_are_where_its_own_fit_reaches_the_limit():
    found = one("rate")
    limit = limit_of(found.fit, 0.90)

    def excess(rate):
        design = np.column_stack((np.ones_like(T), np.exp(-rate * T)))
        return ((Y - design @ np.linalg.lstsq(design, Y, rcond=None)[0]) ** 2).sum() - limit

    rate = found.fit.rate[0]
    assert found.lower[0] == pytest.approx(brentq(excess, 1e-3, rate), rel=1e-8)
    assert found.upper[0] == pytest.approx(brentq(excess, rate, 5), rel=1e-8)


def test_the_ends_of_the_loss_hold_too():
    found = one("loss")
    limit = limit_of(found.fit, 0.90)

    def least(loss):
        def rss(log_rate):
            rest = Y + loss * (1 - np.exp(-np.exp(log_rate) * T))
            return ((rest - rest.mean()) ** 2).sum()

        return minimize_scalar(rss, bounds=(-7, 2), method="bounded", options={"xatol": 1e-10}).fun

    for end in (found.lower[0], found.upper[0]):
        assert least(end) == pytest.approx(limit, rel=1e-6)


def test_for_a_straight_line_it_is_the_classical_interval():
    found = one("value", at=36.0, shape="line", level=0.95)
    design = np.column_stack((np.ones_like(T), T))
    fitted, (rss,), *_ = np.linalg.lstsq(design, Y, rcond=None)
    at = np.array([1, 36.0])
    error = np.sqrt(rss / 7 * at @ np.linalg.inv(design.T @ design) @ at)
    half = student.ppf(0.975, 7) * error
    assert found.estimate[0] == pytest.approx(at @ fitted)
    assert [found.lower[0], found.upper[0]] == pytest.approx(
        [at @ fitted - half, at @ fitted + half]
    )
    slope = one("drift", shape="line", level=0.95)
    assert slope.upper[0] - slope.estimate[0] == pytest.approx(
        student.ppf(0.975, 7) * slope.fit.standard_errors[0, 1]
    )


def test_nominal_90_percent_covers_the_truth_in_400_exposures_of_12_months():
    truth = exposures(400, 12, span=12, seed=11)
    truth_at_36 = truth.start - truth.loss * (1 - np.exp(-truth.rate * 36))
    series = (truth.months, truth.values, truth.offsets)
    within_99_percent_of_the_binomial = (0.86, 0.938)
    for target, true in (("value", truth_at_36), ("rate", truth.rate), ("loss", truth.loss)):
        found = profile_interval(*series, target, at=36.0, level=0.90)
        covered = ((found.lower <= true) & (true <= found.upper)).mean()
        low, high = within_99_percent_of_the_binomial
        assert low <= covered <= high, (target, covered)


def test_the_delta_method_does_not_cover_where_the_profile_does():
    truth = exposures(400, 8, span=8, seed=12)
    fit = fit_series(truth.months, truth.values, truth.offsets)
    error = fit.standard_errors[:, 1] * student.ppf(0.95, fit.n - 3)
    delta = np.abs(fit.loss - truth.loss) <= error
    found = profile_interval(truth.months, truth.values, truth.offsets, "loss")
    profile = (found.lower <= truth.loss) & (truth.loss <= found.upper)
    assert profile.mean() > 0.86
    assert delta.mean() < 0.83


def test_an_end_the_data_do_not_set_is_open():
    straight = 0.84 - 0.005 * T + NOISE
    rate, loss = one("rate", values=straight), one("loss", values=straight)
    value = one("value", values=straight, at=36.0)
    assert rate.lower[0] == 0
    assert IntervalOutcome(rate.outcome[0]).label == "open below"
    assert np.isinf(loss.upper[0])
    assert loss.outcome[0] in (IntervalOutcome.OPEN_ABOVE, IntervalOutcome.OPEN_BOTH_WAYS)
    assert np.isfinite([value.lower[0], value.upper[0]]).all()
    step = np.where(T > 0, 0.6, 0.8) + NOISE
    assert one("rate", values=step).upper[0] == np.inf
    before = profile_interval(T + 3, step, [0, 9], "value", at=0.0)
    assert before.outcome[0] & IntervalOutcome.OPEN_ABOVE


def test_the_loss_of_a_path_that_became_a_line_is_infinite_inside_its_interval():
    found = one("loss", values=0.8 - 0.01 * T - 0.001 * T**2 + NOISE / 10)
    assert found.fit.outcomes == (Outcome.RATE_AT_LOWER_BOUND,)
    assert found.estimate[0] == found.upper[0] == np.inf
    assert found.lower[0] > 0


def test_readings_without_any_error_leave_no_width():
    found = one("value", values=Y - NOISE, at=36.0)
    exact = 0.84 - 0.2 * (1 - np.exp(-0.15 * 36))
    assert [found.lower[0], found.upper[0]] == pytest.approx([exact, exact], abs=1e-6)


def test_many_series_at_once_equal_each_alone_and_wider_levels_are_wider():
    truth = exposures(12, (6, 14), seed=13)
    series = (truth.months, truth.values, truth.offsets)
    for shape in ("exponential", "exponential_drift", "power", "line"):
        found = profile_interval(*series, at=36.0, shape=shape)
        wide = profile_interval(*series, at=36.0, shape=shape, level=0.99)
        assert (shape == "power") | (wide.outcome == IntervalOutcome.CLOSED).all()
        assert ((wide.lower < found.lower) | np.isinf(found.lower)).all()
        assert ((wide.upper > found.upper) | np.isinf(found.upper)).all()
        alone = profile_interval(*truth.one(7), [0, truth.one(7)[0].size], at=36.0, shape=shape)
        np.testing.assert_allclose(alone.lower[0], found.lower[7], rtol=1e-6)
        np.testing.assert_allclose(alone.upper[0], found.upper[7], rtol=1e-6)


def test_a_series_without_a_curve_has_no_interval():
    months = np.concatenate((T, T[:2], T))
    values = np.concatenate((Y, Y[:2], np.full(9, 0.8)))
    found = profile_interval(months, values, [0, 9, 11, 20], "value", at=36.0)
    none = IntervalOutcome.NO_INTERVAL
    assert found.outcome.tolist() == [IntervalOutcome.CLOSED, none, none]
    assert found.fit.outcomes[1:] == (Outcome.TOO_FEW_READINGS, Outcome.NO_CHANGE)
    assert (np.isnan(found.lower) == [False, True, True]).all()
    assert found.estimate[2] == 0.8


def test_a_known_start_is_certain():
    found = one("value", at=0.0, start=0.84)
    assert found.lower[0] == found.upper[0] == 0.84
    free, known = one("value", at=36.0), one("value", at=36.0, start=0.84)
    assert known.upper[0] - known.lower[0] < free.upper[0] - free.lower[0]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"target": "plateau"}, "target: 'plateau'.*value, start, loss, rate"),
        ({"target": "rate", "shape": "line"}, "target: 'rate'.*value, start, drift"),
        ({"target": "start", "start": 0.8}, "target: 'start'"),
        ({"target": "value"}, "at: None"),
        ({"target": "value", "at": -1.0, "shape": "power"}, "at: -1.0"),
        ({"target": "rate", "level": 90}, "level: 90.*between 0 and 1"),
    ],
)
def test_a_target_that_does_not_exist_is_refused(change, message):
    with pytest.raises(CallError, match=message):
        one(change.pop("target"), **change)
