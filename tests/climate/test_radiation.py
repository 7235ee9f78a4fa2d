"""Radiant exposure in the plane of a rack, and the clock that counts in it.

Greensboro: a whole year of measured global, beam and diffuse (TMY3 723170), as it comes with pvlib.
Worked examples: Duffie & Beckman, Solar Engineering of Thermal Processes.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from aging.climate.clock import radiant_clock, steady
from aging.climate.radiation import Plane, Sky, diffuse_share, radiant_exposure

TMY3 = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
GREENSBORO = (36.1, -79.95, 273.0)
DAYS = pd.date_range("2023-01-01", periods=365)


@pytest.fixture(scope="module")
def year():
    raw = pd.read_csv(TMY3, skiprows=1)
    return {name: raw[f"{name} (W/m^2)"].to_numpy(float) for name in ("GHI", "DNI", "DHI")}


def daily(hourly):
    return np.nan_to_num(hourly).reshape(-1, 24).sum(axis=1) * 0.0036


def weather(**columns):
    return pd.DataFrame({"date": DAYS.strftime("%Y-%m-%d"), **columns})


@pytest.mark.parametrize(("tilt", "whole", "month"), [(5, 0.003, 0.01), (45, 0.01, 0.04)])
def test_the_plane_of_a_rack_from_daily_sums_agrees_with_measured_beam_and_diffuse(
    year, tilt, whole, month
):
    hours = pd.date_range("2023-01-01 00:30", periods=8760, freq="h", tz="Etc/GMT+5")
    sun = pvlib.solarposition.get_solarposition(hours, *GREENSBORO)
    extra = pvlib.irradiance.get_extra_radiation(hours.day_of_year.to_numpy())
    measured = pvlib.irradiance.get_total_irradiance(
        tilt, 180, sun["zenith"].to_numpy(), sun["azimuth"].to_numpy(), year["DNI"], year["GHI"],
        year["DHI"], dni_extra=extra, albedo=0.2, model="haydavies",
    )  # fmt: skip
    expected = pd.Series(daily(measured["poa_global"]), DAYS)
    found = Sky.over(Plane(*GREENSBORO, tilt), DAYS).in_plane(daily(year["GHI"]))
    assert found.sum() == pytest.approx(expected.sum(), rel=whole)
    ratio = pd.Series(found, DAYS).groupby(DAYS.month).sum()
    ratio /= expected.groupby(DAYS.month).sum()
    assert ratio.between(1 - month, 1 + month).all()
    assert not np.allclose(found, daily(year["GHI"]), rtol=month)


def test_sunlight_outside_the_atmosphere_and_its_diffuse_share_as_in_the_worked_examples():
    april = Sky.over(Plane(43.0, 0.0), pd.DatetimeIndex(["2023-04-15"]))
    assert april.beyond.sum() * 0.0036 == pytest.approx(33.8, rel=0.01)  # example 1.10.1
    september = Sky.over(Plane(38.6, 0.0), pd.DatetimeIndex(["2023-09-03"]))
    assert september.beyond.sum() * 0.0036 == pytest.approx(33.3, rel=0.01)  # example 2.11.1
    assert september.diffuse(np.array([23.0])) == pytest.approx([0.26], abs=0.01)
    assert diffuse_share(np.array([0.0, 0.8, 0.8]), np.array([80, 80, 95])).tolist() == [
        1,
        0.143,
        0.175,
    ]


def test_a_level_rack_receives_what_the_horizontal_does(year):
    sums = daily(year["GHI"])
    found = Sky.over(Plane(*GREENSBORO, 0), DAYS).in_plane(sums)
    assert found == pytest.approx(sums, rel=0.02)
    assert found.sum() == pytest.approx(sums.sum(), rel=0.001)


def test_the_south_faces_north():
    def winter_share(latitude, azimuth):
        sky = Sky.over(Plane(latitude, 0.0, 0.0, 45.0, azimuth), DAYS)
        sums = pd.Series(sky.in_plane(sky.horizontal()), DAYS)
        return sums[DAYS.month == (12 if latitude > 0 else 6)].mean() / sums.mean()

    assert winter_share(40, 180) == pytest.approx(winter_share(-40, 0), abs=0.05)
    assert winter_share(40, 180) > winter_share(40, 0) + 0.3


def test_a_clear_sky_stands_in_for_what_nobody_measured(year):
    plane = Plane(*GREENSBORO, 5)
    clear = radiant_exposure(weather(), "solar", plane)
    seen = radiant_exposure(weather(solar_MJ_m2=daily(year["GHI"])), "solar", plane)
    assert "clear sky" in clear.source
    assert "measured on the horizontal" in seen.source
    assert clear.daily.empty
    assert (clear.typical > seen.typical).all()
    share = [one.typical / one.typical.mean() for one in (clear, seen)]
    assert share[0].to_numpy() == pytest.approx(share[1].to_numpy(), abs=0.15)


def test_months_not_yet_measured_follow_the_clear_sky_at_the_measured_level(year):
    plane, sums = Plane(*GREENSBORO, 5), daily(year["GHI"])
    whole = radiant_exposure(weather(solar_MJ_m2=sums), "solar", plane)
    half = radiant_exposure(weather(solar_MJ_m2=sums).iloc[:181], "solar", plane)
    assert half.typical[:6].equals(whole.typical[:6])
    assert half.typical.to_numpy() == pytest.approx(whole.typical.to_numpy(), rel=0.15)
    assert radiant_exposure(weather(solar_MJ_m2=sums).iloc[:181], "solar", None) is None
    level = radiant_exposure(weather(solar_MJ_m2=sums), "solar", None)
    assert level.daily.to_numpy() == pytest.approx(sums)


def test_ultraviolet_is_its_own_where_it_is_measured(year):
    plane, sums = Plane(*GREENSBORO, 45), daily(year["GHI"])
    share = np.where(DAYS.month < 7, 0.04, 0.05)
    solar = radiant_exposure(weather(solar_MJ_m2=sums), "solar", plane)
    stand_in = radiant_exposure(weather(solar_MJ_m2=sums), "uv", plane)
    uv = radiant_exposure(weather(solar_MJ_m2=sums, uv_MJ_m2=share * sums), "uv", plane)
    assert uv.daily.to_numpy() == pytest.approx(share * solar.daily.to_numpy())
    assert stand_in.daily.equals(solar.daily)
    assert "of all sunlight" in stand_in.source
    assert "of all sunlight" not in uv.source


def test_a_clock_of_even_sun_is_the_months():
    start = pd.Timestamp("2023-03-05 09:00")
    typical = pd.Series(10.0, index=range(1, 13))
    clock = radiant_clock(start, pd.Series(dtype=float), typical)
    months = np.array([-0.5, 0.0, 0.3, 12.0, 240.0, 300.0])
    assert clock.at(months) == pytest.approx(months)
    assert steady(30.44).at(months) == pytest.approx(30.44 * months)


def test_a_clock_counts_the_sun_that_was_and_then_the_months_as_they_usually_are():
    start = pd.Timestamp("2023-01-01")
    typical = pd.Series([5.0] * 6 + [15.0] * 6, index=range(1, 13))
    sunny = pd.Series(20.0, index=DAYS[:31])
    clock = radiant_clock(start, sunny, typical)
    mean = (181 * 5 + 184 * 15) / 365
    january = 31 / 30.44
    assert clock.at(january) == pytest.approx(31 * 20 / mean / 30.44)
    february = clock.at((31 + 28) / 30.44) - clock.at(january)
    assert february == pytest.approx(28 * 5 / mean / 30.44)
    assert clock.at(365 / 30.44) == pytest.approx((31 * 15 + 365 * mean) / mean / 30.44)
    gap = radiant_clock(start, sunny.drop(sunny.index[10]), typical)
    assert clock.at(1.0) - gap.at(1.0) == pytest.approx(15 / mean / 30.44)


def test_time_goes_on_in_a_polar_night():
    sky = Sky.over(Plane(78.0, 15.0), pd.date_range("2022-12-01", periods=31))
    assert sky.in_plane(sky.horizontal()).sum() == 0
    exposure = radiant_exposure(weather(), "solar", Plane(78.0, 15.0))
    clock = radiant_clock(pd.Timestamp("2022-11-01"), exposure.daily, exposure.typical)
    assert (np.diff(clock.units) > 0).all()
    assert clock.at(12.0) == pytest.approx(12.0, abs=0.2)
