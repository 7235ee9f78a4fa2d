"""Soiling state of a site from its weather sheet: range, gaps and order of its days."""

from __future__ import annotations

import numpy as np
import pandas as pd

from aging.climate.soiling import dry_days, dryness


def sheet(rain):
    days = pd.date_range("2024-03-01", periods=len(rain), freq="D")
    return pd.DataFrame({"site": "DRYWELL", "date": days, "rain_mm": rain})


def test_dry_days_count_from_the_last_rain_that_cleans():
    rain = pd.Series([0, 0, 5.0, 4.9, np.nan, 12, 0])
    assert dry_days(rain).to_list() == [0, 1, 0, 1, 2, 0, 1]


def test_dryness_fills_the_days_that_are_missing_and_ignores_order():
    weather = sheet([6.0, 0, 0, 0, 0]).drop(index=2)
    state = dryness(weather.sample(frac=1, random_state=1))
    np.testing.assert_allclose(state, 1 - np.exp(-np.arange(5) / 15))
    assert state.index.freqstr == "D"


def test_the_state_stands_between_0_and_1_falls_to_0_on_rain_and_is_none_without():
    random = np.random.default_rng(2)
    rain = np.where(random.random(900) < 0.01, 20.0, 0)
    state = dryness(sheet(rain))
    assert state.between(0, 1).all()
    assert (state[rain > 0] == 0).all()
    assert (state.diff()[1:][rain[1:] == 0] >= 0).all()
    assert dryness(sheet([np.nan] * 5)).empty
    assert dryness(sheet([])).empty
