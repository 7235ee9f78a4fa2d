"""Time by the calendar and by the sun."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest
from sunny_rack import AUTUMN, SPRING, sunny_rack

import aging
from aging.errors import CallError
from aging.records import empty_frame

RACK, TRUTH = sunny_rack(1)


def seen_until(months, start=AUTUMN):
    return start + pd.Timedelta(days=(months + 0.5) * 30.44)


def error(axis, months, *, plateau):
    """Mean absolute error at 36 months, as seen from earlier, of losses that follow the sun."""
    found = []
    for seed, start in product(range(2), (AUTUMN, SPRING)):
        rack, truth = sunny_rack(seed, start, plateau=plateau)
        drawn = aging.fit(rack, as_of=seen_until(months, start), time=axis).draws([36.0])
        found += [abs(np.median(d["state"][0]) - truth[name]) for (_, name), d in drawn.items()]
    return np.mean(found)


@pytest.mark.parametrize(("months", "plateau"), [(6, False), (12, True), (18, True)])
def test_losses_that_follow_the_sun_are_forecast_better_by_the_sun(months, plateau):
    by_sun, by_month = (error(axis, months, plateau=plateau) for axis in ("solar", "month"))
    assert by_sun < 0.85 * by_month


def test_a_month_of_summer_counts_for_several_of_winter():
    one = aging.fit(RACK, as_of=seen_until(12), time="solar")
    campaign = one.series[0].campaign
    winter, summer = np.diff(campaign.clock.at([2.0, 3.0, 8.0, 9.0]))[[0, 2]]
    assert summer > 6 * winter
    assert campaign.clock.at([12.0, 36.0]) == pytest.approx([12.0, 36.0], abs=0.3)
    assert campaign.readings.months == pytest.approx(campaign.clock.at(campaign.months))
    assert one.standings(36.0)["NORD", "F0"].months == pytest.approx(12.0, abs=0.05)
    sunlight = "time counts by radiant exposure measured on the horizontal, brought into the plane"
    assert any(sunlight in note for note in one.notes)


def test_what_comes_is_the_usual_sun_of_its_month():
    sun = RACK.weather["solar_MJ_m2"]
    dark = RACK.weather.assign(solar_MJ_m2=sun.where(RACK.weather["date"] < "2022-10-01", 0.0))
    known, later = (
        aging.fit(replace(RACK, weather=each), as_of="2022-09-30", time="solar").series[0].campaign
        for each in (RACK.weather, dark)
    )
    assert np.array_equal(known.clock.at([24.0, 36.0]), later.clock.at([24.0, 36.0]))


def test_where_nothing_is_measured_the_clear_sky_is_computed_and_said():
    blind = replace(RACK, weather=empty_frame("weather"))
    fitted = aging.fit(blind, as_of=seen_until(12), time="uv")
    clock = fitted.series[0].campaign.clock
    assert np.diff(clock.at([8.0, 9.0])) > 6 * np.diff(clock.at([2.0, 3.0]))
    assert any("clear sky, computed and not measured" in note for note in fitted.notes)


def test_without_sun_or_coordinates_months_count_and_it_is_said():
    nowhere = RACK.sites.assign(latitude_deg=np.nan)
    lost = replace(RACK, sites=nowhere, weather=empty_frame("weather"))
    fitted = aging.fit(lost, as_of=seen_until(6), time="solar")
    assert fitted.series[0].campaign.clock.at(17.0) == pytest.approx(17.0)
    assert any("time counts in months" in note for note in fitted.notes)


def test_a_wrong_axis_says_what_is_allowed():
    with pytest.raises(CallError, match="solar"):
        aging.fit(RACK, time="sunshine")
