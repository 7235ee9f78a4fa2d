"""What instruments and raters would see of a panel: each simulated property from its covers.

Notation: R reflectance, R0 initial reflectance, U ultraviolet dose [MJ/m2], G growth cover.
Lightness follows CIE 15, L* = 116 (Y/100)^(1/3) - 16, from a luminous reflectance Y that falls
with R; everything else, and every size of error, is assumed for the demo.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from aging.simulation.mechanism import Cover
from aging.simulation.weather import Array

Model = Callable[[Cover, Array], Array]


@dataclass(frozen=True)
class Look:
    """How a property follows from covers and R0, how it errs, and what reads it.

    Errors in the property's unit: `panel` between panels (independent of soiling), `visit` shared
    by the panels of a visit, `drift` of the instrument per month, `spot` of one spot.
    """

    model: Model
    panel: float
    visit: float
    drift: float
    spot: float
    instrument: str
    conditions: Mapping[str, str] = field(default_factory=dict)


D65_10 = {"illuminant": "D65", "observer_deg": "10", "geometry": "d:8 SCI"}


def _lightness(cover: Cover, initial: Array) -> Array:
    luminous = 90 * (cover.reflectance(initial) / 0.82) ** 1.05
    return 116 * (np.minimum(luminous, 98) / 100) ** (1 / 3) - 16


def _yellowness(cover: Cover, initial: Array) -> Array:
    return 1.6 + 0.0016 * cover.dose + 9 * (cover.loose + cover.bound) + 0 * initial


# A visit's error is one draw for all properties (dew, a film of dust, how the rack was set up):
# the sign of `visit` says which way a surface that looks darker moves the property.
SIMULATED: MappingProxyType[str, Look] = MappingProxyType(
    {
        "solar_reflectance": Look(
            lambda cover, initial: cover.reflectance(initial),
            0.0, 0.0045, 0.0006, 0.006, "SR-11", {"weighting": "G173 global tilt"},
        ),
        "thermal_emittance": Look(
            lambda cover, initial: 0.89 + 0.06 * (cover.loose + cover.bound) + 0 * initial,
            0.004, 0.0, 0.0003, 0.01, "TE-04",
        ),
        "lightness": Look(_lightness, 0.0, 0.22, 0.02, 0.20, "CM-02", D65_10),
        "a_star": Look(
            lambda cover, initial: -0.7 - 6 * cover.growth + 0 * initial,
            0.05, -0.02, 0.004, 0.05, "CM-02", D65_10,
        ),
        "b_star": Look(_yellowness, 0.10, -0.08, 0.01, 0.12, "CM-02", D65_10),
        "gloss_60": Look(
            lambda cover, initial: 2 + 5 * np.exp(-cover.dose / 420 - 2 * cover.loose)
            + 0 * initial,
            0.25, 0.05, 0.02, 0.25, "GL-03",
        ),
        "chalking_astm": Look(
            lambda cover, initial: 10 - 2.6 * (cover.dose / 1000) ** 1.2 + 0 * initial,
            0.2, 0.0, 0.0, 0.6, "", {"method": "D"},
        ),
        "growth": Look(
            lambda cover, initial: 10 - 45 * cover.growth + 0 * initial,
            0.1, 0.0, 0.0, 0.5, "",
        ),
    }
)  # fmt: skip
