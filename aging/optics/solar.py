"""Solar reflectance of spectra: SR = integral of R E over integral of E (ASTM E903).

Notation: R reflectance (fraction), E spectral irradiance (W/m2/nm), both over wavelength (nm).
The integrals are trapezoids on the grid of E, 300 to 2500 nm. R is interpolated linearly onto that
grid, never E onto the grid of R, which would miss the narrow absorption lines of the air. All of it
is linear in R, so grid and interpolation fold into one weight for each measured wavelength.

Sources: ASTM E903 (weighted and selected ordinates); ASTM G173-03 as tabulated by pvlib. Limits of
the bands and the range are common practice; published shares differ mostly by such limits.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aging.errors import require

Array = NDArray[np.float64]

RANGE_NM = (300.0, 2500.0)
REFLECTANCE_RANGE = (0.0, 1.1)  # above 1: brighter than the reference it was read against
BANDS = (
    ("ultraviolet", 300.0, 400.0), ("visible", 400.0, 700.0), ("near infrared", 700.0, 2500.0),
)  # fmt: skip
WEIGHTINGS = MappingProxyType({
    "G173 global tilt": "global",
    "G173 direct": "direct",
    "G173 extraterrestrial": "extraterrestrial",
})  # fmt: skip


@dataclass(frozen=True)
class Weighting:
    """A solar spectrum: `irradiance` (W,) in W/m2/nm or any multiple, at `wavelength_nm` (W,)."""

    name: str
    source: str
    wavelength_nm: Array
    irradiance: Array


@dataclass(frozen=True)
class Band:
    """A band, the `share` of the sun's energy in it, and each sample's reflectance (...) there."""

    name: str
    low_nm: float
    high_nm: float
    share: float
    reflectance: Array


@dataclass(frozen=True)
class SolarReflectance:
    """Solar reflectance (...) as fraction, under the weighting named; two weightings never mix."""

    value: Array
    weighting: str
    source: str
    low_nm: float
    high_nm: float
    bands: tuple[Band, ...]


@cache
def weighting_named(name: str) -> Weighting:
    """A weighting of the table WEIGHTINGS; CallError where it has none of that name."""
    require(name in WEIGHTINGS, "weighting", name, WEIGHTINGS)
    from pvlib.spectrum import get_reference_spectra

    table = get_reference_spectra(standard="ASTM G173-03")
    return Weighting(
        name,
        "ASTM G173-03, as tabulated by pvlib",
        table.index.to_numpy(np.float64),
        table[WEIGHTINGS[name]].to_numpy(np.float64),
    )


def solar_reflectance(
    wavelength_nm: ArrayLike, reflectance: ArrayLike, weighting: str | Weighting
) -> SolarReflectance:
    """Solar reflectance (...) of spectra (..., W) read at ascending wavelengths (W,).

    CallError where the wavelengths do not ascend over 300 to 2500 nm or a value is
    outside 0 to 1.1.
    """
    at, R = checked_spectra(wavelength_nm, reflectance)
    sun = _sun(weighting)
    total = _band(sun, at, *RANGE_NM)
    bands = [_band(sun, at, low, high) for _, low, high in BANDS]
    return SolarReflectance(
        R @ total / total.sum(),
        sun.name,
        sun.source,
        *RANGE_NM,
        tuple(
            Band(name, low, high, float(weights.sum() / total.sum()), R @ weights / weights.sum())
            for (name, low, high), weights in zip(BANDS, bands, strict=True)
        ),
    )


def selected_ordinates(
    wavelength_nm: ArrayLike, reflectance: ArrayLike, weighting: str | Weighting, count: int = 100
) -> Array:
    """Solar reflectance (...) as the plain mean over `count` equal-energy ordinates.

    A cross-check of `solar_reflectance`, whose arguments and errors it shares.
    """
    at, R = checked_spectra(wavelength_nm, reflectance)
    ordinates = ordinates_nm(weighting, count)
    return R @ _folded(at, ordinates, np.full(count, 1 / count))


def ordinates_nm(weighting: str | Weighting, count: int) -> Array:
    """Wavelengths (count,) at the middle of `count` parts of equal solar energy."""
    require(count >= 1, "count of ordinates", count, "1 or more")
    grid, E = _within(_sun(weighting), *RANGE_NM)
    energy = np.concatenate([[0.0], np.cumsum(np.diff(grid) * (E[1:] + E[:-1]) / 2)])
    return np.interp((np.arange(count) + 0.5) / count * energy[-1], energy, grid)


def _sun(weighting: str | Weighting) -> Weighting:
    if isinstance(weighting, str):
        return weighting_named(weighting)
    at, E = weighting.wavelength_nm, weighting.irradiance
    require(
        at.ndim == 1 and at.shape == E.shape and at.size > 1 and bool(np.all(np.diff(at) > 0)),
        f"wavelengths of weighting {weighting.name}", at, "ascending, one for each irradiance",
    )  # fmt: skip
    _cover(f"weighting {weighting.name}", at)
    require(bool(np.all(E >= 0)), f"irradiance of {weighting.name}", E.min(), "0 or more")
    require(_within(weighting, *RANGE_NM)[1].max() > 0, "irradiance", 0, "above 0 in the range")
    return weighting


def checked_spectra(wavelength_nm: ArrayLike, reflectance: ArrayLike) -> tuple[Array, Array]:
    """Wavelengths (W,) and reflectance (..., W) within the sun; errors of `solar_reflectance`."""
    at, R = np.asarray(wavelength_nm, np.float64), np.asarray(reflectance, np.float64)
    require(at.ndim == 1 and at.size > 1, "wavelengths, shape", at.shape, "(W,), W above 1")
    allowed = f"(..., {at.size}), a value a wavelength"
    require(R.ndim > 0 and R.shape[-1] == at.size, "reflectance, shape", R.shape, allowed)
    rising = np.diff(at) > 0
    seen = float(at[1 + np.argmin(rising)])
    require(bool(rising.all()), "wavelength", seen, "ascending, each once")
    _cover("wavelengths", at)
    first, last = np.searchsorted(at, RANGE_NM, side="right")
    at, R = at[first - 1 : last + 1], R[..., first - 1 : last + 1]  # noise beyond is no matter
    low, high = REFLECTANCE_RANGE
    odd = ~((low <= R) & (R <= high))  # noqa: SIM300
    if odd.any():
        require(False, "reflectance", float(R[odd][0]), f"{low:g} to {high:g}, a fraction")
    return at, R


def _cover(what: str, at: Array) -> None:
    low, high = RANGE_NM
    seen = f"{at[0]:g} to {at[-1]:g} nm"
    require(at[0] <= low and at[-1] >= high, what, seen, f"all of {low:g} to {high:g} nm")


def _within(sun: Weighting, low: float, high: float) -> tuple[Array, Array]:
    """The grid of the sun from `low` to `high`, both included, and E on it."""
    inner = sun.wavelength_nm[(sun.wavelength_nm > low) & (sun.wavelength_nm < high)]
    grid = np.concatenate([[low], inner, [high]])
    return grid, np.interp(grid, sun.wavelength_nm, sun.irradiance)


def _band(sun: Weighting, at: Array, low: float, high: float) -> Array:
    """Weights (W,) whose product with R is the integral of R E from `low` to `high`."""
    grid, E = _within(sun, low, high)
    half = np.diff(grid) / 2
    return _folded(at, grid, E * (np.append(half, 0) + np.insert(half, 0, 0)))


def _folded(at: Array, grid: Array, weight: Array) -> Array:
    """Weights on the measured wavelengths equal to `weight` on R interpolated onto the grid."""
    left = np.clip(np.searchsorted(at, grid, side="right") - 1, 0, at.size - 2)
    part = (grid - at[left]) / (at[left + 1] - at[left])
    folded = np.zeros(at.size)
    np.add.at(folded, left, weight * (1 - part))
    np.add.at(folded, left + 1, weight * part)
    return folded
