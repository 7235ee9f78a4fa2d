"""Sun in the plane, rain, dry spells and dust between two days.

Greensboro: a year of global, beam and diffuse by the hour (TMY3 723170), as it comes with pvlib.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from aging.climate.intervals import intervals, uv_share
from aging.climate.radiation import Plane
from aging.errors import CallError

TMY3 = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
GREENSBORO = (36.1, -79.95, 273.0)
DAYS = pd.date_range("2023-01-01", periods=365)
QUARTERS = list(pd.to_datetime(["2023-01-01", "2023-03-10", "2023-07-01", "2024-01-01"]))


def weather(days=DAYS, **columns):
    return pd.DataFrame({"date": days.strftime("%Y-%m-%d"), **columns})


def between(frame, start, end, plane=None):
    found = intervals(frame, plane, [pd.Timestamp(start), pd.Timestamp(end)])
    return found.rows[0], found


@pytest.mark.parametrize("tilt", [5, 45])
def test_the_plane_between_dates_agrees_with_beam_and_diffuse_by_the_hour(tilt):
    raw = pd.read_csv(TMY3, skiprows=1)
    ghi, dni, dhi = (raw[f"{name} (W/m^2)"].to_numpy(float) for name in ("GHI", "DNI", "DHI"))
    hours = pd.date_range("2023-01-01 00:30", periods=8760, freq="h", tz="Etc/GMT+5")
    sun = pvlib.solarposition.get_solarposition(hours, *GREENSBORO)
    hourly = pvlib.irradiance.get_total_irradiance(
        tilt, 180, sun["zenith"].to_numpy(), sun["azimuth"].to_numpy(), dni, ghi, dhi,
        dni_extra=pvlib.irradiance.get_extra_radiation(hours.day_of_year.to_numpy()),
        albedo=0.2, model="haydavies",
    )["poa_global"]  # fmt: skip
    expected = pd.Series(np.nan_to_num(hourly) * 0.0036, hours.tz_localize(None))
    frame = weather(solar_MJ_m2=ghi.reshape(365, 24).sum(axis=1) * 0.0036)
    found = intervals(frame, Plane(*GREENSBORO, tilt), QUARTERS)
    sums = [
        expected[start : end - pd.Timedelta(hours=0.5)].sum() for start, end in pairwise(QUARTERS)
    ]
    assert [one.solar_MJ_m2 for one in found.rows] == pytest.approx(sums, rel=0.025)
    assert sum(one.solar_MJ_m2 for one in found.rows) == pytest.approx(expected.sum(), rel=0.01)
    assert "measured on the horizontal, brought into the plane" in found.source
    assert found.notes[0].startswith("ultraviolet (295 to 385 nm) was not measured")


def test_intervals_that_follow_each_other_add_up_to_the_whole():
    rng = np.random.default_rng(4)
    solar, rain = rng.uniform(5, 25, 365), rng.exponential(1.5, 365)
    frame = weather(solar_MJ_m2=solar, uv_MJ_m2=0.045 * solar, rain_mm=rain, pm10_ug_m3=solar)
    parts = intervals(frame, None, QUARTERS).rows
    (whole,) = intervals(frame, None, [QUARTERS[0], QUARTERS[-1]]).rows
    for name in ("days", "solar_MJ_m2", "uv_MJ_m2", "rain_mm", "wet_days", "dry_days"):
        assert sum(getattr(one, name) for one in parts) == pytest.approx(getattr(whole, name))
    assert (whole.start, whole.end, whole.days) == ("2023-01-01", "2024-01-01", 365)
    assert whole.solar_MJ_m2 == pytest.approx(solar.sum())
    assert whole.uv_share == pytest.approx(0.045)
    assert whole.pm10_ug_m3 == pytest.approx(solar.mean())
    assert whole.wet_days == (rain >= 1).sum()


def test_rain_wet_days_and_the_longest_dry_spell_by_hand():
    rain = [0, 0.9, 1.0, 0, 0, 0, 12.3, 0, 0, np.nan, 0, 0]
    one, _ = between(weather(DAYS[:12], rain_mm=rain), "2023-01-01", "2023-01-13")
    assert one.rain_mm == pytest.approx(14.2)
    assert (one.wet_days, one.dry_days, one.rain_days) == (2, 9, 11)
    assert one.longest_dry_spell == 3  # a day without a record ends a spell
    part, _ = between(weather(DAYS[:12], rain_mm=rain), "2023-01-06", "2023-01-07")
    assert (part.days, part.longest_dry_spell, part.wet_days) == (1, 1, 0)
    late, _ = between(weather(DAYS[:12], rain_mm=rain), "2024-01-06", "2024-01-07")
    assert np.isnan(late.rain_mm)
    assert late.rain_days == 0


def test_measured_sun_wins_and_the_rest_says_that_it_is_computed():
    solar = pd.Series(10.0, DAYS)
    solar["2023-06-11":"2023-06-20"] = np.nan
    frame = weather(solar_MJ_m2=solar.to_numpy())
    one, told = between(frame, "2023-06-01", "2023-07-01")
    assert one.solar_MJ_m2 == pytest.approx(300)  # ten days take the mean of June
    assert one.solar_measured_days == 20
    assert "sun was not measured on 10 of 30 days and is computed there" in told.notes
    clear, told = between(frame.head(0), "2023-06-01", "2023-07-01", Plane(*GREENSBORO))
    assert 25 < clear.solar_MJ_m2 / 30 < 32
    assert clear.solar_measured_days == 0
    assert told.source == "radiant exposure of a clear sky, computed and not measured"


def test_what_can_neither_be_measured_nor_computed_is_not_known():
    frame = weather(DAYS[:40], solar_MJ_m2=10.0)
    january, _ = between(frame, "2023-01-01", "2023-02-01")
    assert january.solar_MJ_m2 == pytest.approx(310)
    winter, told = between(frame, "2023-01-01", "2023-03-01")
    assert np.isnan(winter.solar_MJ_m2)
    assert "sun was not measured on 19 of 59 days and is not known there" in told.notes
    nothing, told = between(frame.head(0), "2023-01-01", "2023-02-01")
    assert np.isnan(nothing.solar_MJ_m2)
    assert told.source == "radiant exposure not on record, nor coordinates"


def test_weather_from_elsewhere_does_not_count_as_measured():
    frame = weather(solar_MJ_m2=10.0, uv_MJ_m2=0.45)
    dates = [DAYS[0], DAYS[90]]
    (one,) = intervals(frame, Plane(*GREENSBORO), dates, "of a typical year").rows
    assert one.solar_MJ_m2 == pytest.approx(900, rel=0.02)
    assert (one.solar_measured_days, one.uv_measured_days) == (0, 0)
    assert "of a typical year" in intervals(frame, None, dates, "of a typical year").source


def test_ultraviolet_is_that_of_its_days_and_elsewhere_the_measured_share_of_the_sun():
    uv = np.where(DAYS.month < 7, 0.5, np.nan)
    frame = weather(solar_MJ_m2=np.where(DAYS.month < 7, 10.0, 20.0), uv_MJ_m2=uv)
    first, second = intervals(frame, None, [DAYS[0], DAYS[181], DAYS[212]]).rows
    assert first.uv_MJ_m2 == pytest.approx(181 * 0.5)
    assert second.uv_MJ_m2 == pytest.approx(31 * 20 * 0.05)
    assert (first.uv_measured_days, second.uv_measured_days) == (181, 0)
    assert np.isnan(second.uv_share)


@pytest.mark.parametrize(
    ("share", "odd"), [(0.029, True), (0.031, False), (0.059, False), (0.061, True)]
)
def test_a_share_of_ultraviolet_that_cannot_be_is_told_with_its_band(share, odd):
    frame = weather(solar_MJ_m2=10.0, uv_MJ_m2=10.0 * share)
    one, told = between(frame, "2023-03-01", "2023-04-01")
    notes = [note for note in told.notes if "outside 0.03 to 0.06" in note]
    assert one.uv_share == pytest.approx(share)
    assert len(notes) == odd
    assert all("2023-03-01 to 2023-04-01" in note and "295 to 385 nm" in note for note in notes)


def test_a_fortnight_is_too_short_to_judge_the_share():
    days = weather(DAYS[:15], solar_MJ_m2=10.0, uv_MJ_m2=1.0)
    assert uv_share(days) == pytest.approx(0.1)
    assert np.isnan(uv_share(days[1:]))
    assert np.isnan(uv_share(days.assign(solar_MJ_m2=0.0)))


@pytest.mark.parametrize(
    "dates", [["2023-02-01"], ["2023-02-01"] * 2, ["2023-02-01", "2023-01-01"]]
)
def test_dates_ascend(dates):
    with pytest.raises(CallError, match="two or more, ascending"):
        intervals(weather(solar_MJ_m2=1.0), None, list(pd.to_datetime(dates)))
