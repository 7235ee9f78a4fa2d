"""The sun over a roof, and what a pyranometer may read there."""

from __future__ import annotations

import math

import pytest

from aging.errors import CallError
from aging.fieldwork.patches import ZONES, pyranometer, sun_to_normal, zone_of

NOON = "2025-06-21T12:00"
SITE = {"latitude_deg": 40.0, "longitude_deg": 0.0, "timezone": "UTC", "elevation_m": 100.0}
FLAT = {"tilt_deg": 0.0, "azimuth_deg": float("nan")}
UP, DOWN = (900, 905, 898), (630, 634, 628)


def test_on_a_level_roof_at_noon_of_midsummer_the_sun_stands_at_latitude_less_declination():
    assert sun_to_normal(NOON, SITE, FLAT) == pytest.approx(40 - 23.44, abs=0.1)


@pytest.mark.parametrize(("facing", "less"), [(180.0, 5.0), (0.0, -5.0)])
def test_a_slope_towards_the_sun_brings_it_nearer(facing, less):
    level = sun_to_normal(NOON, SITE, FLAT)
    tilted = sun_to_normal(NOON, SITE, {"tilt_deg": 5.0, "azimuth_deg": facing})
    assert level - tilted == pytest.approx(less, abs=0.05)


def test_the_clock_is_that_of_the_site():
    west = {**SITE, "longitude_deg": -75.0, "timezone": "Etc/GMT+5"}
    assert sun_to_normal(NOON, west, FLAT) == pytest.approx(
        sun_to_normal(NOON, SITE, FLAT), abs=0.1
    )


def test_pairs_become_a_reflectance():
    read = pyranometer(UP, DOWN, at=NOON, site=SITE, panel=FLAT)
    assert read.spots.mean == pytest.approx(sum(d / u for u, d in zip(UP, DOWN, strict=True)) / 3)
    assert read.sun_deg == pytest.approx(16.6, abs=0.2)
    assert read.agrees
    assert not pyranometer((900,) * 3, (630, 630, 645), at=NOON, site=SITE, panel=FLAT).agrees


@pytest.mark.parametrize(
    ("change", "told"),
    [({"at": "2025-06-21T17:00"}, "45 degrees from the normal"),
     ({"at": "2025-06-21T23:00"}, "45 degrees from the normal"),
     ({"at": "2025-12-21T12:00"}, "45 degrees from the normal"),
     ({"panel": {"tilt_deg": 9.6, "azimuth_deg": 180.0}}, "up to 9.5"),
     ({"panel": {"tilt_deg": 4.0, "azimuth_deg": math.nan}}, "azimuth_deg: missing"),
     ({"panel": {}, "site": {}}, "latitude_deg, longitude_deg, timezone, tilt_deg: missing"),
     ({"up": UP[:2], "down": DOWN[:2]}, "3 or more"), ({"down": DOWN[:2]}, "as many down as up"),
     ({"up": DOWN, "down": UP}, "900 of 630, 905 of 634, 898 of 628")],
)  # fmt: skip
def test_what_the_method_does_not_allow_is_refused(change, told):
    call = {"up": UP, "down": DOWN, "at": NOON, "site": SITE, "panel": FLAT, **change}
    with pytest.raises(CallError, match=told):
        pyranometer(call.pop("up"), call.pop("down"), **call)


def test_the_steepest_slope_is_still_read():
    read = pyranometer(UP, DOWN, at=NOON, site=SITE, panel={"tilt_deg": 9.5, "azimuth_deg": 180.0})
    assert read.sun_deg < 10


@pytest.mark.parametrize(
    ("position", "zone"),
    [("ponding 2", "ponding"), ("Open field", "open field"), ("open_field", "open field"),
     ("r1c5", ""), (float("nan"), "")],
)  # fmt: skip
def test_a_position_names_its_zone(position, zone):
    assert zone_of(position) == zone
    assert all(zone_of(one) == one for one in ZONES)
