"""Which clock a campaign lives by: months, days, or the radiant exposure in the plane of its rack.

month    months of exposure
day      days, with the priors per day (quick soiling)
solar    radiant exposure, in months of the site's average
uv       ultraviolet radiant exposure (295 to 385 nm), likewise
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

import pandas as pd

from aging.climate.clock import Clock, radiant_clock, steady
from aging.climate.radiation import Plane, radiant_exposure
from aging.errors import require
from aging.records import Exposure
from aging.vocabulary import DAYS_PER_MONTH

TimeAxis = Literal["month", "day", "solar", "uv"]
AXES: tuple[TimeAxis, ...] = ("month", "day", "solar", "uv")
ClockOf = Callable[[str, pd.Timestamp, Sequence[str]], tuple[Clock, str]]


def clock_of(exposure: Exposure, axis: TimeAxis) -> ClockOf:
    """A function that gives the clock of a campaign (site, start, panels) and a note, or "".

    A site whose sun is neither measured the year round nor can be computed (no latitude and
    longitude) counts in months, and its note says so.
    """
    require(axis in AXES, "time", axis, AXES)
    if axis in {"month", "day"}:
        even = steady(DAYS_PER_MONTH if axis == "day" else 1.0)
        return lambda *_: (even, "")
    band: Literal["solar", "uv"] = "uv" if axis == "uv" else "solar"

    def by_sun(site: str, start: pd.Timestamp, panels: Sequence[str]) -> tuple[Clock, str]:
        plane = rack_plane(exposure, site, panels)
        weather = exposure.weather[exposure.weather["site"] == site]
        sun = radiant_exposure(weather, band, plane)
        if sun is None:
            return steady(), "time counts in months: no sunlight on record and no coordinates"
        return radiant_clock(start, sun.daily, sun.typical), f"time counts by {sun.source}"

    return by_sun


def rack_plane(exposure: Exposure, site: str, panels: Sequence[str]) -> Plane | None:
    """The plane of most panels of a rack, level and facing the equator where not recorded.

    None where the site has no latitude and longitude.
    """
    place = exposure.sites[exposure.sites["site"] == site].iloc[:1]
    place = place.dropna(subset=["latitude_deg", "longitude_deg"])
    if place.empty:
        return None
    latitude, longitude = (
        float(place[f"{name}_deg"].iloc[0]) for name in ("latitude", "longitude")
    )
    height = place["elevation_m"].fillna(0.0)
    own = exposure.panels[exposure.panels["panel"].isin(panels)]
    equator = 180.0 if latitude >= 0 else 0.0
    rack = own[["tilt_deg", "azimuth_deg"]].fillna({"tilt_deg": 0.0, "azimuth_deg": equator})
    tilt, azimuth = rack.value_counts().index[0] if len(rack) else (0.0, equator)
    return Plane(latitude, longitude, float(height.iloc[0]), float(tilt), float(azimuth))
