"""The assumed physics does what its docstring says."""

from __future__ import annotations

import numpy as np
import pytest

from aging.records import SHEETS
from aging.simulation.mechanism import traits, weather_panels
from aging.simulation.weather import CLIMATES, simulate_weather

NAMES = list(CLIMATES)
START = np.array(["2021-04-06"] * len(NAMES), dtype="datetime64[D]")


@pytest.fixture(scope="module")
def weather():
    return simulate_weather(list(CLIMATES.values()), START, 6 * 365, np.random.default_rng(3))


def steady(days: int, rain_on: int) -> dict[str, np.ndarray]:
    daily = {
        "temperature_C": 20,
        "relative_humidity_pct": 70,
        "solar_MJ_m2": 18,
        "uv_MJ_m2": 0.8,
        "pm10_ug_m3": 40,
    }
    rain = np.zeros((days, 1))
    rain[rain_on] = 25.0
    return {"rain_mm": rain} | {name: np.full((days, 1), float(v)) for name, v in daily.items()}


def one_panel(weather, hold=1.0, climate="temperate-urban"):
    return weather_panels(weather, [CLIMATES[climate]], np.full((1, 1), hold), np.ones((1, 1)))


def test_every_day_lies_inside_the_weather_sheet_and_uv_is_a_small_share_of_sunlight(weather):
    for column in SHEETS["weather"].columns[2:]:
        values = weather[column.name]
        assert column.low <= values.min() <= values.max() <= column.high, column.name
    share = weather["uv_MJ_m2"] / weather["solar_MJ_m2"]
    assert 0.03 < share.min() < share.max() < 0.06


def test_climates_differ_as_their_names_say(weather):
    humid, dry, urban = (NAMES.index(name) for name in ("hot-humid", "hot-dry", "temperate-urban"))
    yearly = {name: values.sum(axis=0) / 6 for name, values in weather.items()}
    assert yearly["rain_mm"][humid] > yearly["rain_mm"][urban] > 3 * yearly["rain_mm"][dry]
    assert yearly["uv_MJ_m2"][dry] > yearly["uv_MJ_m2"][humid] > yearly["uv_MJ_m2"][urban]
    assert yearly["pm10_ug_m3"][dry] > yearly["pm10_ug_m3"][urban] > yearly["pm10_ug_m3"][humid]
    assert weather["pm10_ug_m3"][:, dry].max() > 4 * CLIMATES["hot-dry"].pm10


def test_dry_spells_last_longer_than_days_drawn_one_by_one_would(weather):
    wet = weather["rain_mm"] > 0
    after_dry = wet[1:][~wet[:-1]].mean()
    assert after_dry < 0.8 * wet.mean()


def test_rain_washes_loose_dirt_off_and_lifts_reflectance():
    cover = one_panel(steady(60, rain_on=40))
    reflectance = cover.reflectance(np.array(0.82))[:, 0, 0]
    assert np.all(np.diff(reflectance[:40]) < 0)
    assert reflectance[40] > reflectance[39] + 0.01
    assert reflectance[40] < reflectance[0] - 0.005  # bound dirt stays
    assert cover.loose[40] < 0.2 * cover.loose[39]


def test_bound_dirt_saturates_at_a_level_that_follows_stickiness():
    cover = one_panel(steady(4000, rain_on=1))
    less = one_panel(steady(4000, rain_on=1), hold=0.6)
    limit = CLIMATES["temperate-urban"].bound_limit
    assert cover.bound[-1, 0, 0] == pytest.approx(limit, rel=0.02)
    assert less.bound[-1, 0, 0] == pytest.approx(0.6 * limit, rel=0.02)
    assert cover.bound[500, 0, 0] > 0.5 * limit


def test_growth_waits_and_then_rises_only_where_it_is_warm_and_damp():
    damp = steady(1100, rain_on=1) | {
        "relative_humidity_pct": np.full((1100, 1), 90.0),
        "temperature_C": np.full((1100, 1), 27.0),
    }
    growth = one_panel(damp).growth[:, 0, 0]
    assert growth[60] < 0.1 * growth[-1]
    assert growth[300] > 0.9 * growth[-1]
    cold = damp | {"temperature_C": np.full((1100, 1), 5.0)}
    assert np.all(one_panel(cold).growth == 0)


def test_washing_never_darkens_and_leaves_the_weathering(weather):
    ones = np.ones((len(NAMES), 2))
    cover = weather_panels(weather, list(CLIMATES.values()), ones, ones)
    initial = np.array([0.80, 0.88])
    before, after = cover.reflectance(initial), cover.washed().reflectance(initial)
    assert np.all(cover.washed().loose == 0)
    assert np.all(after >= before)
    assert np.all(after[-1] > before[-1] + 0.02)
    assert np.all(after[-1] < initial - 0.01)


def test_silica_lowers_stickiness_most_near_nine_percent_and_never_touches_initial():
    doses = np.linspace(0, 20, 201)
    initial, stickiness = traits(doses, np.zeros_like(doses))
    assert np.ptp(initial) == 0
    assert doses[stickiness.argmin()] == pytest.approx(9.0)
    assert stickiness[0] == 1.0


def test_spheres_raise_initial_and_tack_and_interact_with_silica():
    initial, stickiness = traits([0, 0, 8, 8], [0, 30, 0, 30])
    assert initial[1] == initial[3] > initial[0] + 0.03
    assert stickiness[1] > stickiness[0]
    assert stickiness[3] - stickiness[2] < stickiness[1] - stickiness[0] - 0.05
