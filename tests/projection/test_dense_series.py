"""A roof station read every day, beside the same roof read four times a year."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import aging
from aging.projection import gather
from aging.records import Exposure, empty_frame
from aging.simulation.sheets import as_sheet

DAYS = pd.date_range("2021-04-01", periods=740)
QUARTERLY = np.array([0, 30, 61, 91, 183, 274, 365, 457, 548, 640, 731])


def roof(seed):
    """Daily and quarterly exposure of one roof, and its state at 36 months."""
    random = np.random.default_rng(seed)
    day = np.arange(DAYS.size)
    rain = np.where(random.random(day.size) < 0.25, random.exponential(8, day.size), 0).round(1)
    dry = 1 - np.exp(-(day - np.maximum.accumulate(np.where(rain >= 5, day, 0))) / 15)

    def state(at):
        return 0.82 - 0.16 * (1 - np.exp(-0.16 * at / 30.44)) - 0.0004 * at / 30.44

    level = state(day) - 0.025 * (dry - dry.mean()) - 0.02 * (rain > 0)
    value = level + random.normal(0, 0.010, day.size)
    daily = (random.random(day.size) > 0.15) & ~((day > 200) & (day < 240))
    dates = DAYS.strftime("%Y-%m-%d").to_numpy()
    weather = {"site": ["ROOF"] * day.size, "date": list(dates), "rain_mm": rain}
    panel = {"panel": ["R1"], "formulation": ["WHITE"], "site": ["ROOF"], "kind": ["roof_patch"]}

    def exposure(read, values):
        return Exposure(
            as_sheet("sites", {"site": ["ROOF"]}),
            as_sheet("formulations", {"formulation": ["WHITE"]}),
            as_sheet("panels", panel | {"exposed_on": [dates[0]]}),
            as_sheet("readings", {
                "panel": ["R1"] * values.size, "read_on": list(dates[read]),
                "property": ["solar_reflectance"] * values.size, "value": values.round(3),
                "unit": ["fraction"] * values.size, "surface_state": ["as_exposed"] * values.size,
            }),
            empty_frame("events"),
            as_sheet("weather", weather),
        )  # fmt: skip

    calm = level[QUARTERLY] + 0.02 * (rain[QUARTERLY] > 0) + random.normal(0, 0.006, QUARTERLY.size)
    return exposure(daily, value[daily]), exposure(QUARTERLY, calm), state(36 * 30.44)


@pytest.fixture(scope="module", params=[0, 1])
def fitted(request):
    daily, quarterly, later = roof(request.param)
    return aging.fit(daily), aging.fit(quarterly), later


def test_a_dense_series_becomes_dated_states_with_errors(fitted):
    [series] = fitted[0].series
    readings = series.campaign.readings
    assert 20 < readings.months.size < 26
    assert (np.diff(series.campaign.visits) > np.timedelta64(29, "D")).all()
    assert (readings.error > 0.001).all()
    assert (readings.error < 0.01).all()
    assert (readings.dryness == 0).all()
    assert any(f"were reduced to {readings.months.size} dated states" in n for n in fitted[0].notes)


def test_read_daily_or_quarterly_a_roof_is_projected_alike(fitted):
    daily, quarterly, later = fitted
    rows = [one.project(36).frame.query("target == 'state'").iloc[0] for one in (daily, quarterly)]
    assert rows[0]["estimate"] == pytest.approx(rows[1]["estimate"], abs=0.025)
    for row in rows:
        assert row["lower"] < later < row["upper"]
    width = [row["upper"] - row["lower"] for row in rows]
    assert 0.5 < width[0] / width[1] < 1.1


def test_by_the_day_every_day_counts():
    daily, _, _ = roof(2)
    part = replace(daily, readings=daily.readings.iloc[:130])
    [campaign] = gather(part, time="day").campaigns
    assert campaign.readings.months.size == 130
    assert (campaign.readings.error == 0).all()


def test_a_station_and_a_rack_stand_side_by_side():
    daily, quarterly, _ = roof(2)
    rename = {"R1": "P1"}
    both = Exposure(
        daily.sites,
        daily.formulations,
        pd.concat([daily.panels, quarterly.panels.replace({"panel": rename})], ignore_index=True),
        pd.concat(
            [daily.readings, quarterly.readings.replace({"panel": rename})], ignore_index=True
        ),
        daily.events,
        daily.weather,
    )
    [campaign] = gather(both).campaigns
    values = campaign.readings.values  # noqa: PD011 - an array, not a frame
    rack, station = (~np.isnan(values[campaign.panels.index(name)]) for name in ("P1", "R1"))
    assert rack.sum() == QUARTERLY.size
    assert not (rack & station).any()
    assert (campaign.readings.error[rack] == 0).all()
    assert (campaign.readings.error[station] > 0).all()
    assert campaign.visits.is_monotonic_increasing
