"""Two soiling models against their published examples and pvlib's own functions, and ours to them.

Kimber et al. 2006, doi 10.1109/WCPEC.2006.279690; Coello & Boyle 2019 (HSU),
doi 10.1109/JPHOTOV.2019.2919628. The numbers for HSU are those of pvlib's tests.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from pvlib import soiling as peer
from scipy.stats import spearmanr
from soiling_models import hsu, kimber

from aging.climate.soiling import dryness

HOUR_5 = pd.Timedelta(hours=5)


def dry(days, freq="h"):
    start = pd.Timestamp("2024-01-01")
    index = pd.date_range(start, start + pd.Timedelta(days=days), freq=freq, inclusive="left")
    return pd.Series(0.0, index)


def at(series, days):
    return series[pd.Timestamp("2024-01-01") + pd.Timedelta(days=days)]


def two_showers():
    rain = dry(60)
    rain[rain.index[0] + pd.Timedelta(days=20) + HOUR_5] = 8
    rain[rain.index[0] + pd.Timedelta(days=40) + HOUR_5] = 5
    return rain


def weathered(freq, seed=0):
    rain = dry(200, freq)
    random = np.random.default_rng(seed)
    wet = random.random(rain.size) < (0.02 if freq == "h" else 0.08)
    rain[wet] = random.exponential(6, wet.sum())
    fine, total = random.lognormal(2.5, 0.5, (2, rain.size)) * [[1], [2]]
    return rain, np.minimum(fine, total), total


def test_kimber_on_a_shower_that_cleans_and_one_that_does_not():
    soiled = kimber(two_showers())
    want = {10: 0.0150, 20: 0.0300, 34: 0, 36: 0.0013125, 45: 0.0148125, 59: 0.0358125}
    assert {day: at(soiled, day) for day in want} == pytest.approx(want, abs=1e-12)
    assert soiled[pd.Timestamp("2024-01-21 06:00")] == 0


def test_kimber_without_rain_rises_in_a_line_to_its_cap():
    soiled = kimber(dry(220)).to_numpy()
    np.testing.assert_allclose(soiled[:4800], 0.0015 / 24 * np.arange(4800), atol=1e-12)
    assert (soiled[4801:] == 0.3).all()


@pytest.mark.parametrize("freq", ["h", "D"])
@pytest.mark.parametrize("grace", [14, 3])
def test_kimber_as_pvlib_has_it(freq, grace):
    rain, *_ = weathered(freq, grace)
    theirs = peer.kimber(rain, grace_period=grace, max_soiling=0.02)
    ours = kimber(rain, grace_days=grace, most=0.02)
    np.testing.assert_allclose(ours, theirs, atol=1e-12)
    assert 0 < (ours == 0).mean() < 1
    assert ours.max() == 0.02


def test_kimber_with_washes_as_pvlib_has_it():
    days = [pd.Timestamp("2024-01-12"), pd.Timestamp("2024-02-20")]
    theirs = peer.kimber(two_showers(), manual_wash_dates=days)
    np.testing.assert_allclose(kimber(two_showers(), washed=days), theirs, atol=1e-12)


@pytest.mark.parametrize("hourly", [[6.0], [0.25] * 24, [0.1] * 12 + [0.4] * 12])
def test_kimber_rain_of_exactly_the_threshold_cleans(hourly):
    rain = dry(30)
    rain.iloc[240 : 240 + len(hourly)] = hourly
    last = 239 + len(hourly)
    assert kimber(rain).iloc[last] == 0
    assert kimber(rain * 0.999).iloc[last] > 0


def test_hsu_on_the_constants_of_pvlibs_tests():
    rain = dry(1)
    loss = hsu(rain, 1e6, 2e6, fine_m_s=1e-5, coarse_m_s=1e-4)
    np.testing.assert_allclose(
        1 - loss.iloc[[0, 5, 23]], [0.96998483, 0.86826366, 0.69246034], atol=5e-9
    )


@pytest.mark.parametrize("freq", ["h", "D"])
@pytest.mark.parametrize("tilt", [0, 30])
def test_hsu_as_pvlib_has_it(freq, tilt):
    rain, fine, total = weathered(freq)
    theirs = peer.hsu(
        rain, 5.0, tilt, fine * 1e-6, total * 1e-6, rain_accum_period=pd.Timedelta("24h")
    )
    ours = hsu(rain, fine, total, tilt_deg=tilt)
    np.testing.assert_allclose(1 - ours, theirs, atol=1e-9)
    assert 0 < (ours == 0).mean() < 0.9


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


@pytest.mark.parametrize("seed", range(3))
def test_our_state_orders_days_as_both_models_do(seed):
    rain, fine, total = weathered("D", seed)
    ours = dryness(pd.DataFrame({"date": rain.index, "rain_mm": rain.to_numpy()}))
    for theirs in (kimber(rain, cleaning_mm=5, grace_days=0.5), hsu(rain, fine, total)):
        assert spearmanr(ours, theirs).statistic > 0.97
