"""Patches of a roof: their zones, and their reflectance under the sun by ASTM E1918.

    SR = mean of reflected / incoming over pairs of pyranometer readings
    cos(angle) = the sun's direction on the normal of the surface

Limits: the scope of ASTM E1918 (sun less than 45 degrees from the normal, slope up to 9.5
degrees). At least three pairs that agree within 0.01, clear sky, an area of 4 m or more across and
the sensor 0.5 m above it: the same method, from memory. A patch is a panel of kind roof_patch whose
position names its zone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from aging.errors import CallError, require
from aging.fieldwork.spots import Spots

ZONES = ("open field", "ponding", "edge", "drain")
STEEPEST_SUN, STEEPEST_SLOPE = 45.0, 9.5
FEWEST_PAIRS, AGREE_WITHIN = 3, 0.01
WEIGHTING = "sunlight"  # of the moment, and so not in one series with a reflectometer's


@dataclass(frozen=True)
class Pyranometer:
    """Reflectance of each pair, the sun's angle to the surface's normal [deg] and the pairs."""

    spots: Spots
    sun_deg: float
    up: tuple[float, ...]
    down: tuple[float, ...]

    @property
    def agrees(self) -> bool:
        """Whether the pairs lie as close together as the method asks."""
        return self.spots.range <= AGREE_WITHIN


def zone_of(position: object) -> str:
    """Zone that a patch's position names ("ponding 2", "Open field"); empty where it names none."""
    words = str(position).replace("_", " ").lower()
    return next((zone for zone in ZONES if words.startswith(zone)), "")


def sun_to_normal(at: str, site: Mapping[str, Any], panel: Mapping[str, Any]) -> float:
    """Angle between the sun and the normal of a panel [deg] at a local moment.

    site: latitude_deg, longitude_deg, timezone, elevation_m as in its sheet. panel: tilt_deg, and
    azimuth_deg where it is tilted. CallError lists what is missing.
    """
    wanted = {"latitude_deg": site, "longitude_deg": site, "timezone": site, "tilt_deg": panel}
    if (panel.get("tilt_deg") or 0) > 0:
        wanted["azimuth_deg"] = panel
    lacking = [name for name, row in wanted.items() if pd.isna(row.get(name))]
    if lacking:
        raise CallError(
            f"{', '.join(lacking)}: missing; needed for the sun's place: fill the sheets sites and "
            "panels and load them again"
        )
    from pvlib import irradiance, solarposition

    moment = pd.DatetimeIndex([pd.Timestamp(at)]).tz_localize(
        site["timezone"], ambiguous=True, nonexistent="shift_forward"
    )
    height = site.get("elevation_m")
    sun = solarposition.get_solarposition(
        moment, site["latitude_deg"], site["longitude_deg"],
        altitude=0 if height is None or pd.isna(height) else height,
    )  # fmt: skip
    facing = wanted.get("azimuth_deg", {}).get("azimuth_deg", 180.0)
    angle = irradiance.aoi(panel["tilt_deg"], facing, sun["apparent_zenith"], sun["azimuth"])
    return float(angle.iloc[0])


def pyranometer(
    up: Sequence[float], down: Sequence[float], *, at: str, site: Mapping[str, Any],
    panel: Mapping[str, Any],
) -> Pyranometer:  # fmt: skip
    """Reflectance of a patch from incoming (`up`) and reflected (`down`) irradiance in pairs.

    at: local moment of the pairs. site, panel: as `sun_to_normal`. CallError for a slope or a sun
    beyond the method's limits, too few pairs, and pairs that cannot be.
    """
    require(len(up) == len(down), "pairs", f"{len(up)} up, {len(down)} down", "as many down as up")
    require(len(up) >= FEWEST_PAIRS, "pairs", len(up), f"{FEWEST_PAIRS} or more")
    odd = [f"{d:g} of {u:g}" for u, d in zip(up, down, strict=True) if not 0 < d < u]
    require(not odd, "pairs", ", ".join(odd), "reflected above 0 and below incoming")
    angle = sun_to_normal(at, site, panel)
    slope = panel["tilt_deg"]
    require(slope <= STEEPEST_SLOPE, "tilt_deg", slope, f"up to {STEEPEST_SLOPE:g} for ASTM E1918")
    limit = f"less than {STEEPEST_SUN:g} degrees from the normal (ASTM E1918); read nearer to noon"
    require(angle < STEEPEST_SUN, "sun", f"{angle:.1f} degrees", limit)
    ratios = tuple(round(d / u, 6) for u, d in zip(up, down, strict=True))
    return Pyranometer(Spots(ratios), round(angle, 1), tuple(up), tuple(down))
