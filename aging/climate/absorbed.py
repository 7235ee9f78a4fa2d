"""What ageing costs a roof in heat: more sunlight absorbed in a year, and a warmer peak.

    extra = (SR initial - SR aged) H,    H the radiant exposure of a typical year on the roof

H comes from the site's weather, or a clear sky where nothing is measured (climate/radiation.py).
The peak is that of the sunniest clear hour in the plane of the roof, under the air (310 K) and sky
(300 K) of ASTM E1980: daily weather does not know the hottest hour. A year at one reflectance is
reckoned, the same at every angle of the sun. What a building gains or pays does not follow.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from aging.climate.radiation import MEASURED, Plane, Sky, radiant_exposure
from aging.errors import ModelError
from aging.optics.heat import STANDARD, Array, Surroundings, Wind, surface_temperature, within

MJ_PER_KWH = 3.6
DAYS_OF_MONTHS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
CAUTION = (
    "A reflective roof takes up less heat in winter as well, and one that stays cooler dries less: "
    "condensation in the assembly is for a licensed professional to judge. Heat absorbed is not "
    "energy used: what a building gains depends on its insulation, use and climate."
)


@dataclass(frozen=True)
class RoofYear:
    """Sunlight on a roof: a typical year's sum (MJ/m2), its peak (W/m2), where they come from."""

    radiant_exposure: float
    peak: float
    source: str


@dataclass(frozen=True)
class AgeingHeat:
    """An aged roof against the same roof when new; arrays of the shape of the reflectances.

    extra : more solar energy absorbed in a year, MJ/m2; below 0 where ageing made it lighter
    initial_peak, aged_peak : surface temperature in the sunniest hour, K
    """

    year: RoofYear
    extra: Array
    initial_peak: Array
    aged_peak: Array
    caution: str = CAUTION

    @property
    def extra_kWh_m2(self) -> Array:
        """The extra in kWh/m2 a year."""
        return self.extra / MJ_PER_KWH

    @property
    def warmer(self) -> Array:
        """How much warmer the peak is, K."""
        return self.aged_peak - self.initial_peak


def roof_year(weather: pd.DataFrame, plane: Plane | None, origin: str = MEASURED) -> RoofYear:
    """A typical year of sun on a roof, from a site's weather (columns as in the weather sheet).

    ModelError where a calendar month is neither measured nor, without `plane`, can be computed.
    Without a plane the roof is level, and its peak the 1000 W/m2 of E1980. `origin` says where sun
    that was not measured there comes from.
    """
    sun = radiant_exposure(weather, "solar", plane, origin)
    if sun is None:
        raise ModelError(
            "sunlight on the roof: not known the year round; add solar_MJ_m2 of every calendar "
            "month to the site's weather, or its latitude and longitude"
        )
    whole = float(sun.typical.to_numpy(dtype=np.float64) @ DAYS_OF_MONTHS)
    if plane is None:
        return RoofYear(whole, STANDARD.irradiance, f"{sun.source}; peak as in ASTM E1980")
    sky = Sky.over(plane, pd.date_range("2023-01-01", periods=365))
    peak = float(sky.hourly_in_plane(sky.horizontal()).max())
    return RoofYear(whole, peak, f"{sun.source}; peak of a clear sky, computed and not measured")


def ageing_heat(
    initial: npt.ArrayLike,
    aged: npt.ArrayLike,
    emittance: npt.ArrayLike,
    year: RoofYear,
    *,
    wind: Wind = "medium",
    around: Surroundings = STANDARD,
) -> AgeingHeat:
    """What an aged roof absorbs beyond the new one, draw by draw.

    initial, aged, emittance : fractions 0 to 1, of shapes that broadcast, such as joint draws.
    around : air and sky of the peak hour; its irradiance is replaced by the year's peak.
    """
    lost = within("initial solar reflectance", initial) - within("aged solar reflectance", aged)
    peak = replace(around, irradiance=year.peak)
    new, old = (surface_temperature(sr, emittance, wind, peak) for sr in (initial, aged))
    return AgeingHeat(year, np.asarray(lost * year.radiant_exposure), new, old)
