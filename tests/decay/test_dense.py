"""Daily series with gaps, rain and drought, reduced to dated states."""

from __future__ import annotations

import numpy as np
import pytest

from aging.decay.dense import dated_states, is_dense, smoothed


def simulated(seed, days=720, step=0.001, noise=0.012):
    """Days read, values, regressors of every day and the true level at average dryness."""
    random = np.random.default_rng(seed)
    rain = random.random(days) < 0.25
    day = np.arange(days)
    dry = 1 - np.exp(-(day - np.maximum.accumulate(np.where(rain, day, 0))) / 15)
    regressors = np.stack([dry - dry.mean(), rain], axis=1)
    level = 0.68 + 0.14 * np.exp(-0.004 * day) + np.cumsum(random.normal(0, step, days))
    values = level - regressors @ [0.03, 0.02] + random.normal(0, noise, days)
    read = random.random(days) > 0.15
    read[300:345] = False
    return day[read] + 0.4, values[read], regressors, level


def test_dated_states_lie_within_their_errors():
    scores = []
    for seed in range(8):
        day, value, regressors, level = simulated(seed)
        found = dated_states([(day, value)], regressors)
        assert (np.diff(found.day) > 29).all()
        scores.append((found.value[0] - level[found.day]) / found.error)
    inside = np.abs(np.concatenate(scores)) < 1.645
    assert inside.size > 150
    assert 0.86 <= inside.mean() <= 0.99
    following = np.corrcoef(*np.concatenate([[s[1:], s[:-1]] for s in scores], axis=1))[0, 1]
    assert abs(following) < 0.2


def test_weather_does_not_move_the_level_and_a_gap_widens_its_error():
    day, value, regressors, level = simulated(3)
    found = smoothed(day, value, regressors)
    blind = smoothed(day, value, np.zeros_like(regressors))
    gap = slice(310, 335)
    assert found.error[gap].min() > 1.3 * np.median(found.error)
    right, wrong = (np.sqrt(np.mean((one.level - level) ** 2)) for one in (found, blind))
    assert right < 0.8 * wrong


def test_series_of_one_site_share_their_days():
    day, value, regressors, _ = simulated(4, days=400)
    late = day > 200
    found = dated_states([(day, value), (day[late], value[late] - 0.05)], regressors)
    assert found.value.shape == (2, found.day.size)
    assert np.isnan(found.value[1]).tolist() == (found.day < 200).tolist()
    both = ~np.isnan(found.value[1])
    assert (found.value[0] - found.value[1])[both] == pytest.approx(0.05, abs=0.01)


def test_a_level_that_hardly_moves_is_dated_sparsely():
    random = np.random.default_rng(5)
    day = np.arange(700.0)
    still = smoothed(day, 0.7 + random.normal(0, 0.01, 700), np.zeros((700, 1)))
    assert still.memory > 30
    found = dated_states([(day, 0.7 + random.normal(0, 0.01, 700))], np.zeros((700, 1)))
    assert found.day.size < 8
    assert found.value[0] == pytest.approx(0.7, abs=0.005)


def test_quarterly_visits_are_no_dense_series():
    assert is_dense(np.arange(0, 400, 2.0))
    assert not is_dense(np.arange(0, 400, 4.0))
    assert not is_dense(np.arange(0, 100.0))
    assert not is_dense(np.zeros(0))
