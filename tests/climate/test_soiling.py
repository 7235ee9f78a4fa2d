"""Soiling states of a site from its weather sheet: ranges, gaps and which method is taken."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aging.climate.soiling import METHODS, dry_days, dryness, hsu, kimber, soiling_state
from aging.errors import CallError


def sheet(rain, dust=None):
    days = pd.date_range("2024-03-01", periods=len(rain), freq="D")
    return pd.DataFrame({"site": "DRYWELL", "date": days, "rain_mm": rain, "pm10_ug_m3": dust})


def test_dry_days_count_from_the_last_rain_that_cleans():
    rain = pd.Series([0, 0, 5.0, 4.9, np.nan, 12, 0])
    assert dry_days(rain).to_list() == [0, 1, 0, 1, 2, 0, 1]


def test_dryness_fills_the_days_that_are_missing_and_ignores_order():
    weather = sheet([6.0, 0, 0, 0, 0]).drop(index=2)
    state = dryness(weather.sample(frac=1, random_state=1))
    np.testing.assert_allclose(state, 1 - np.exp(-np.arange(5) / 15))
    assert state.index.freqstr == "D"


@pytest.mark.parametrize("method", METHODS)
def test_every_state_stands_between_0_and_1_and_falls_to_0_on_rain(method):
    random = np.random.default_rng(2)
    rain = np.where(random.random(900) < 0.01, 20.0, 0)
    state = soiling_state(sheet(rain, random.lognormal(4, 0.5, 900)), method)
    assert state.name == method
    assert state.between(0, 1).all()
    assert (state[rain > 0] == 0).all()
    assert state.max() > 0.2
    between_rains = state.diff()[1:][rain[1:] == 0]
    assert (between_rains >= 0).all()


def test_dust_decides_the_method_where_it_is_known_on_most_days():
    dust = np.full(20, 40.0)
    assert soiling_state(sheet([0.0] * 20, dust)).name == "hsu"
    assert soiling_state(sheet([0.0] * 20)).name == "dry days"
    dust[:8] = np.nan
    state = soiling_state(sheet([0.0] * 20, dust))
    pd.testing.assert_series_equal(state, dryness(sheet([0.0] * 20)), check_names=False)
    assert state.name == "dry days"


def test_days_without_dust_lie_between_their_neighbours():
    known = np.linspace(20, 96, 20)
    gaps = np.where(np.isin(np.arange(20), [5, 6, 11]), np.nan, known)
    whole, filled = (soiling_state(sheet([0.0] * 20, dust), "hsu") for dust in (known, gaps))
    pd.testing.assert_series_equal(filled, whole)


def test_more_dust_soils_more_and_a_steep_panel_less():
    rain = [0.0] * 60
    light, heavy = (soiling_state(sheet(rain, dust), "hsu") for dust in ([20.0] * 60, [80.0] * 60))
    steep = soiling_state(sheet(rain, [80.0] * 60), "hsu", tilt_deg=45)
    assert (light < steep).all()
    assert (steep < heavy).all()


def test_half_a_days_rain_on_each_side_of_midnight_cleans_by_the_hour_only():
    hours = pd.Series(0.0, pd.date_range("2024-03-01", periods=96, freq="h"))
    hours["2024-03-02 22:00"] = hours["2024-03-03 01:00"] = 4
    assert kimber(hours)["2024-03-03 01:00"] == 0
    assert kimber(hours.resample("D").sum())["2024-03-03"] > 0


def test_a_wash_cleans_the_day_it_falls_on_and_leaves_no_damp_ground():
    rain = pd.Series(0.0, pd.date_range("2024-03-01", periods=10, freq="D"))
    state = kimber(rain, washed=[pd.Timestamp("2024-03-05 10:30"), pd.Timestamp("2024-02-01")])
    np.testing.assert_allclose(state / 0.0015, [0, 1, 2, 3, 0, 1, 2, 3, 4, 5])


def test_missing_rain_counts_as_none():
    rain = pd.Series(0.0, pd.date_range("2024-03-01", periods=10, freq="D"))
    gap = rain.where(np.arange(10) != 4)
    pd.testing.assert_series_equal(kimber(gap), kimber(rain))
    pd.testing.assert_series_equal(hsu(gap, 10, 20), hsu(rain, 10, 20))


@pytest.mark.parametrize("method", [None, *METHODS])
def test_without_rain_there_is_no_state(method):
    assert soiling_state(sheet([np.nan] * 5), method).empty
    assert soiling_state(sheet([]), method).empty


def test_what_cannot_be_done_is_said():
    with pytest.raises(CallError, match="dry days, kimber, hsu"):
        soiling_state(sheet([0.0]), "rain")
    with pytest.raises(CallError, match="pm10_ug_m3"):
        soiling_state(sheet([0.0] * 3), "hsu")
    with pytest.raises(CallError, match="rising DatetimeIndex"):
        kimber(pd.Series([0.0, 1]))
