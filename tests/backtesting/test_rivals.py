"""Each rival is exact on data where it must be, and says why where it cannot forecast."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import t as student

from aging.backtesting import rivals
from aging.backtesting.grid import damped_trend, local_level
from aging.backtesting.rivals import RIVALS, Past

MONTHS = np.array([0.0, 1, 2, 3, 5, 6, 8, 10, 12])
AHEAD = np.array([15.0, 18, 24, 36])
NOISE = np.random.default_rng(3).normal(0, 0.004, MONTHS.size)


def plateau(t):
    return 0.84 - 0.12 * -np.expm1(-0.2 * t)


def line(t):
    return 0.84 - 0.003 * t


def test_last_value_is_a_random_walk():
    t, y = np.array([0.0, 1, 3]), np.array([0.8, 0.78, 0.75])
    found = rivals.last_value(t, y, np.array([4.0, 7]), 0.9)
    spread = np.sqrt((0.02**2 / 1 + 0.03**2 / 2) / 2)
    half = student.ppf(0.95, 2) * spread * np.sqrt([1, 4])
    assert found.estimate.tolist() == [0.75, 0.75]
    assert found.upper - found.estimate == pytest.approx(half)
    assert found.estimate - found.lower == pytest.approx(half)


def test_last_value_of_one_visit_has_no_interval():
    found = rivals.last_value(np.array([0.0]), np.array([0.8]), AHEAD, 0.9)
    assert found.estimate.tolist() == [0.8] * 4
    assert np.isnan(found.lower).all()
    assert np.isnan(found.upper).all()


def test_straight_line_on_a_line():
    found = rivals.straight_line(MONTHS, line(MONTHS), AHEAD, 0.9)
    assert found.estimate == pytest.approx(line(AHEAD))
    assert found.upper - found.lower == pytest.approx(0, abs=1e-12)


def test_straight_line_has_the_textbook_prediction_interval():
    t, y = np.array([0.0, 1, 2, 3]), np.array([1.0, 3, 2, 4])  # slope 0.8, rss 1.8
    found = rivals.straight_line(t, y, np.array([5.0]), 0.9)
    assert found.estimate[0] == pytest.approx(5.3)
    half = student.ppf(0.95, 2) * np.sqrt(1.8 / 2 * (1 + 1 / 4 + 3.5**2 / 5))
    assert found.upper[0] - 5.3 == pytest.approx(half)


def test_exponential_on_an_exponential():
    shifted = np.where(MONTHS == 3, np.nan, plateau(MONTHS) + 0.02)
    past = Past(MONTHS, np.stack([plateau(MONTHS), shifted]))
    first, second = rivals.exponential(past, AHEAD, 0.9)
    assert first.estimate == pytest.approx(plateau(AHEAD), abs=1e-8)
    assert second.estimate == pytest.approx(plateau(AHEAD) + 0.02, abs=1e-8)
    assert (second.upper - second.lower).max() < 1e-6


def test_exponential_interval_holds_a_reading_and_widens_with_the_level():
    past = Past(MONTHS, (plateau(MONTHS) + NOISE)[None])
    [narrow], [wide] = (rivals.exponential(past, AHEAD, level) for level in (0.5, 0.9))
    assert (wide.lower < narrow.lower).all()
    assert (narrow.upper < wide.upper).all()
    assert ((wide.lower < plateau(AHEAD)) & (plateau(AHEAD) < wide.upper)).all()
    least = 2 * student.ppf(0.95, MONTHS.size - 3) * NOISE.std()
    assert (wide.upper - wide.lower > least).all()


def test_same_loss_as_control_moves_the_control_curve_to_the_first_reading():
    past = Past(MONTHS, np.stack([line(MONTHS) - 0.05, plateau(MONTHS)]), control=1)
    candidate, control = rivals.same_loss_as_control(past, AHEAD, 0.9)
    assert candidate.estimate == pytest.approx(plateau(AHEAD) - 0.05, abs=1e-8)
    assert np.isnan(candidate.lower).all()
    assert control.why == "is the control"
    [alone] = rivals.same_loss_as_control(Past(MONTHS, plateau(MONTHS)[None]), AHEAD, 0.9)
    assert alone.why == "no control read in this campaign"


def test_damped_trend_follows_a_damped_trend():
    t = np.arange(25.0)
    y = 0.84 - 0.1 * (1 - 0.9**t)  # level + damped slope, phi 0.9
    y += np.random.default_rng(1).normal(0, 2e-4, t.size)  # without any, no likelihood has an end
    found = damped_trend(t, y, AHEAD[2:] + 6, 0.9)
    assert found.estimate == pytest.approx(0.84 - 0.1 * (1 - 0.9 ** (AHEAD[2:] + 6)), abs=0.002)
    assert (found.lower < found.estimate).all()


def test_local_level_ends_at_the_smoothed_level_and_widens_with_time():
    found = local_level(MONTHS, plateau(MONTHS) + NOISE, AHEAD, 0.9)
    assert np.ptp(found.estimate) == pytest.approx(0, abs=1e-9)
    assert found.estimate[0] == pytest.approx(plateau(12.0), abs=0.02)
    assert (np.diff(found.upper - found.lower) > 0).all()


def test_a_local_level_that_only_wanders_is_the_last_value():
    y = 0.8 + np.random.default_rng(5).normal(0, 0.01, 30).cumsum()
    found = local_level(np.arange(30.0), y, np.array([32.0]), 0.9)
    assert found.estimate[0] == pytest.approx(y[-1], abs=0.004)
    half = student.ppf(0.95, 1e6) * np.diff(y).std() * np.sqrt(3)
    assert found.upper[0] - found.estimate[0] == pytest.approx(half, rel=0.15)


@pytest.mark.parametrize(
    ("name", "readings", "why"),
    [
        ("straight line", [0.8, 0.79], "fewer than 3 visits"),
        ("exponential", [0.8, 0.79, 0.78], "too few readings"),
        ("same loss as control", [0.8, 0.79], "no control read in this campaign"),
        ("damped trend", [0.8, 0.79, 0.78], "fewer than 6 months on the grid"),
        ("damped trend", [0.8] * 9, "no change to model"),
        ("local level", [0.8, 0.79, 0.78], "fewer than 4 visits"),
        ("local level", [0.8] * 6, "no change to model"),
    ],
)
def test_what_cannot_be_forecast_says_why(name, readings, why):
    past = Past(MONTHS[: len(readings)], np.array([readings]))
    [found] = RIVALS[name](past, AHEAD, 0.9)
    assert found.why == why
    assert np.isnan(found.estimate).all()


def test_a_fit_that_does_not_converge_is_a_missing_forecast(monkeypatch):
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    whole = UnobservedComponents.fit
    monkeypatch.setattr(
        UnobservedComponents, "fit", lambda self, **more: whole(self, maxiter=1, **more)
    )
    found = local_level(MONTHS, plateau(MONTHS) + NOISE, AHEAD, 0.9)
    assert found.why == "did not converge"
