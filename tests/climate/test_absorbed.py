"""What ageing costs in absorbed sunlight and peak temperature."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aging.climate.absorbed import CAUTION, RoofYear, ageing_heat, roof_year
from aging.climate.radiation import Plane
from aging.errors import CallError, ModelError
from aging.optics.heat import surface_temperature

DAYS = pd.date_range("2023-01-01", periods=365)
MEASURED = pd.DataFrame({"date": DAYS.strftime("%Y-%m-%d"), "solar_MJ_m2": 18.0})
NOTHING = MEASURED.head(0)


def test_a_measured_year_on_a_level_roof():
    year = roof_year(MEASURED, None)
    assert year.radiant_exposure == pytest.approx(365 * 18)
    assert year.peak == 1000
    heat = ageing_heat(0.85, 0.65, 0.9, year)
    assert heat.extra == pytest.approx(0.20 * 365 * 18)
    assert heat.extra_kWh_m2 == pytest.approx(365.0)
    assert heat.warmer == pytest.approx(325.736 - 315.050, abs=0.01)
    assert "measured" in year.source
    assert heat.caution == CAUTION


def test_the_plane_of_the_roof_and_a_clear_sky():
    level, tilted, north = (
        roof_year(NOTHING, Plane(33.4, -112.0, 330.0, tilt, azimuth))
        for tilt, azimuth in ((0, 180), (30, 180), (30, 0))
    )
    assert north.radiant_exposure < level.radiant_exposure
    assert level.radiant_exposure < tilted.radiant_exposure
    assert 7000 < level.radiant_exposure < 9000
    assert 950 < level.peak < 1150
    assert "computed and not measured" in level.source


def test_a_measured_sun_wins_over_the_clear_sky_but_not_for_the_peak():
    plane = Plane(33.4, -112.0, 330.0)
    assert roof_year(MEASURED, plane).radiant_exposure == pytest.approx(365 * 18, rel=0.01)
    assert roof_year(MEASURED, plane).peak == roof_year(NOTHING, plane).peak


def test_draws_stay_joint():
    rng = np.random.default_rng(2)
    initial = rng.normal(0.85, 0.01, 500)
    aged = initial - 0.2
    heat = ageing_heat(initial, aged, 0.9, RoofYear(7000.0, 900.0, "by hand"), wind="low")
    assert heat.extra == pytest.approx(np.full(500, 1400.0))
    assert (heat.warmer > 0).all()
    weaker = surface_temperature(aged, 0.9, "low")
    assert (heat.aged_peak < weaker).all()  # 900, not the 1000 W/m2 of the standard


def test_what_cannot_be_told():
    with pytest.raises(ModelError, match="latitude and longitude"):
        roof_year(MEASURED.head(100), None)
    with pytest.raises(CallError, match=r"aged solar reflectance: 65\.0"):
        ageing_heat(0.85, 65, 0.9, RoofYear(7000.0, 900.0, "by hand"))
