"""Colour of a panel from spectra or readings, and how far it has moved from its own start.

L*, a*, b* hold under one illuminant, observer and geometry (`Conditions`), which travel with every
value; two conditions never meet in one difference. Tristimulus values are sums over 360 to 780 nm
at 5 nm, the grid of the illuminants, with the measured reflectance interpolated onto it and its
ends held; the white of L*a*b* is the perfect diffuser in the same sum.

Sources: CIE 15 (colorimetry), ASTM D2244 (differences), CIEDE2000 as in Sharma, Wu, Dalal, Color
Res. Appl. 30 (2005) 21-30, ASTM E313 (yellowness): all through the library colour-science, which
takes a second to import and is imported when first used. ISO 105-A05 (grey scale) is in no library
that is kept up: its equation stands here from memory, held to the published steps of ISO 105-A02.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aging.errors import CallError, require
from aging.vocabulary import GEOMETRIES

Array = NDArray[np.float64]

OBSERVERS = {
    2: "CIE 1931 2 Degree Standard Observer",
    10: "CIE 1964 10 Degree Standard Observer",
}
GRID_NM = np.arange(360.0, 781.0, 5.0)
CHUNK = 50_000  # pairs that fit the processor's cache: twice as fast
LAST_START_NM, FIRST_END_NM, WIDEST_STEP_NM, MOST = 400.0, 700.0, 10.0, 1.1

# Cx, Cz of ASTM E313 by illuminant and observer.
YELLOWNESS = {
    ("C", 2): (1.2769, 1.0592),
    ("D65", 2): (1.2985, 1.1335),
    ("C", 10): (1.2871, 1.0781),
    ("D65", 10): (1.3013, 1.1498),
}
# Colour differences at which one step of the grey scale gives way to the next: midpoints between
# the steps of ISO 105-A02.
GREY_BANDS = ("5", "4-5", "4", "3-4", "3", "2-3", "2", "1-2", "1")
GREY_LIMITS = np.array([0.40, 1.25, 2.10, 2.95, 4.10, 5.80, 8.20, 11.60])


@dataclass(frozen=True)
class Conditions:
    """What a colour holds under: illuminant (CIE name), observer (2 or 10 deg), geometry."""

    illuminant: str = "D65"
    observer_deg: int = 10
    geometry: str = "d:8 SCI"

    def __post_init__(self) -> None:
        require(self.observer_deg in OBSERVERS, "observer_deg", self.observer_deg, OBSERVERS)
        require(self.geometry in GEOMETRIES, "geometry", self.geometry, GEOMETRIES)


@dataclass(frozen=True)
class Colour:
    """L*, a*, b* and X, Y, Z (Y of the perfect diffuser = 100), each (n, 3), with conditions."""

    lab: Array
    xyz: Array
    conditions: Conditions


@dataclass(frozen=True)
class ColourDifference:
    """Later minus initial, each (n,): dL*, da*, db*, dE*ab, CIEDE2000, grey scale rating."""

    delta_l: Array
    delta_a: Array
    delta_b: Array
    delta_e_ab: Array
    delta_e_00: Array
    grey_scale: Array
    conditions: Conditions


@lru_cache(maxsize=1)
def _library() -> Any:
    with warnings.catch_warnings():  # it warns that its plots, which nobody asks for, are missing
        warnings.simplefilter("ignore")
        import colour
    return colour


@lru_cache(maxsize=8)
def _weights(illuminant: str, observer_deg: int) -> Array:
    """Weights (85, 3) that turn reflectance on GRID_NM into X, Y, Z."""
    colour = _library()
    known = colour.SDS_ILLUMINANTS
    require(illuminant in known, "illuminant", illuminant, sorted(known))
    light, observer = known[illuminant], colour.MSDS_CMFS[OBSERVERS[observer_deg]]
    matching = observer.values[np.searchsorted(observer.wavelengths, GRID_NM)]
    weights = matching * np.interp(GRID_NM, light.wavelengths, light.values)[:, None]
    return 100.0 * weights / weights[:, 1].sum()


def _white(conditions: Conditions) -> tuple[Array, Array]:
    """Tristimulus values and chromaticity of the perfect diffuser."""
    white = _weights(conditions.illuminant, conditions.observer_deg).sum(axis=0)
    return white, white[:2] / white.sum()


def colour_of_spectra(
    wavelength_nm: ArrayLike, reflectance: ArrayLike, conditions: Conditions
) -> Colour:
    """Colour from reflectance (n, W) or (W,), a fraction, at ascending wavelengths (W,) in nm.

    Raises CallError where the wavelengths do not reach 400 to 700 nm or stand more than 10 nm
    apart there, or where reflectance is not a fraction of 0 to 1.1.
    """
    at, seen = np.asarray(wavelength_nm, float), np.atleast_2d(np.asarray(reflectance, float))
    require(at.ndim == 1 and seen.shape[1] == at.size, "reflectance", seen.shape, f"(n, {at.size})")
    steps = np.diff(at)
    require(bool((steps > 0).all()), "wavelength_nm", "not ascending", "ascending, none twice")
    reach = f"{LAST_START_NM:g} to {FIRST_END_NM:g} nm"
    covered = at[0] <= LAST_START_NM and at[-1] >= FIRST_END_NM
    require(bool(covered), "wavelength_nm", (float(at[0]), float(at[-1])), f"reach {reach}")
    inside = (at[1:] > LAST_START_NM) & (at[:-1] < FIRST_END_NM)
    widest = float(steps[inside].max())
    require(widest <= WIDEST_STEP_NM, "widest step in nm", widest, f"{WIDEST_STEP_NM:g} or less")
    fraction = bool(((seen >= 0) & (seen <= MOST)).all())
    extremes = (float(seen.min()), float(seen.max()))
    require(fraction, "reflectance", extremes, "a fraction of 0 to 1.1, not percent")

    on_grid = np.stack([np.interp(GRID_NM, at, row) for row in seen])
    xyz = on_grid @ _weights(conditions.illuminant, conditions.observer_deg)
    white, xy = _white(conditions)
    scaled = xyz / white[1]
    return Colour(np.asarray(_library().XYZ_to_Lab(scaled, xy)), xyz, conditions)


def colour_of_readings(lab: ArrayLike, conditions: Conditions) -> Colour:
    """Colour from read L*, a*, b*, (n, 3) or (3,), under the conditions the instrument was set to.

    Raises CallError where L* is outside 0 to 100 or the shape is another.
    """
    read = np.atleast_2d(np.asarray(lab, float))
    require(read.shape[1] == 3, "lab", read.shape, "(n, 3)")  # noqa: PLR2004
    lightness = read[:, 0]
    inside = bool(((lightness >= 0) & (lightness <= 100)).all())  # noqa: PLR2004
    require(inside, "L*", (float(lightness.min()), float(lightness.max())), "0 to 100")
    return Colour(read, 100.0 * _library().Lab_to_XYZ(read, _white(conditions)[1]), conditions)


def colour_difference(later: Colour, initial: Colour) -> ColourDifference:
    """Differences of `later` to `initial`, row by row; one initial row serves all.

    Raises CallError where the two were measured under different conditions.
    """
    if later.conditions != initial.conditions:
        raise CallError(
            f"colours under {later.conditions} and {initial.conditions} cannot be compared; "
            "read both with the same illuminant, observer and geometry"
        )
    dL, da, db = (later.lab - initial.lab).T
    return ColourDifference(
        dL, da, db,
        np.sqrt(dL**2 + da**2 + db**2),
        ciede2000(later.lab, initial.lab),
        grey_scale(later.lab, initial.lab),
        later.conditions,
    )  # fmt: skip


def since_start(panel: ArrayLike, months: ArrayLike, colour: Colour) -> ColourDifference:
    """Differences of each reading to its panel's own first; panel and months are (n,).

    Raises CallError listing panels whose first reading is later than a month: what they were when
    new is not known.
    """
    panels, when = np.asarray(panel), np.asarray(months, float)
    order = np.argsort(when, kind="stable")
    names, first, back = np.unique(panels[order], return_index=True, return_inverse=True)
    first_row = order[first]
    late = names[when[first_row] > 1.0]
    require(not late.size, "panels without an initial reading", late.tolist(), "first month")
    start = np.empty(panels.size, int)
    start[order] = first_row[back]
    return colour_difference(
        colour, Colour(colour.lab[start], colour.xyz[start], colour.conditions)
    )


def ciede2000(lab: ArrayLike, reference: ArrayLike) -> Array:
    """CIEDE2000 difference, (..., 3) against (..., 3), all weights 1.

    Where the two hues stand exactly opposite the formula jumps: rounding may choose either side.
    """
    later, start = np.broadcast_arrays(np.asarray(lab, float), np.asarray(reference, float))
    a, b = start.reshape(-1, 3), later.reshape(-1, 3)
    formula = _library().difference.delta_E_CIE2000
    parts = [formula(a[i : i + CHUNK], b[i : i + CHUNK]) for i in range(0, max(len(a), 1), CHUNK)]
    return np.concatenate(parts).reshape(later.shape[:-1])


def yellowness_index(colour: Colour) -> Array:
    """Yellowness index of ASTM E313, (n,): 100 (Cx X - Cz Z) / Y.

    Raises CallError for illuminants and observers that the standard has no coefficients for.
    """
    key = (colour.conditions.illuminant, colour.conditions.observer_deg)
    require(key in YELLOWNESS, "illuminant and observer", key, YELLOWNESS)
    yellowness = _library().colorimetry.yellowness_ASTME313(colour.xyz, YELLOWNESS[key])
    return np.atleast_1d(np.asarray(yellowness))


def grey_scale_difference(lab: ArrayLike, reference: ArrayLike) -> Array:
    """Colour difference dE_F of ISO 105-A05, (..., 3) against (..., 3)."""
    tested, start = np.asarray(lab, float), np.asarray(reference, float)
    chroma, chroma_0 = (
        np.hypot(tested[..., 1], tested[..., 2]),
        np.hypot(start[..., 1], start[..., 2]),
    )
    hue, hue_0 = (np.degrees(np.arctan2(x[..., 2], x[..., 1])) % 360 for x in (tested, start))
    apart = (hue - hue_0 + 180) % 360 - 180
    dC, dH = chroma - chroma_0, 2 * np.sqrt(chroma * chroma_0) * np.sin(np.radians(apart / 2))
    mean_chroma, mean_hue = (chroma + chroma_0) / 2, (hue_0 + apart / 2) % 360
    from_blue = np.abs((mean_hue - 280 + 180) % 360 - 180) / 30
    D = dC * mean_chroma * np.exp(-(from_blue**2)) / 100
    dC_F = (dC - D) / (1 + (20 * mean_chroma / 1000) ** 2)
    dH_F = (dH - D) / (1 + (10 * mean_chroma / 1000) ** 2)
    return np.sqrt((tested[..., 0] - start[..., 0]) ** 2 + dC_F**2 + dH_F**2)


def grey_scale(lab: ArrayLike, reference: ArrayLike) -> Array:
    """Grey scale rating of ISO 105-A05, 5 (no change) down to below 1, without steps."""
    dE = grey_scale_difference(lab, reference)
    return np.where(dE <= 3.4, 5 - dE / 1.7, 5 - np.log2(np.maximum(dE, 0.85) / 0.85))  # noqa: PLR2004


def grey_scale_step(lab: ArrayLike, reference: ArrayLike) -> NDArray[np.str_]:
    """Step of the grey scale, "5", "4-5" down to "1": the nearest of ISO 105-A02."""
    dE = grey_scale_difference(lab, reference)
    return np.array(GREY_BANDS)[np.searchsorted(GREY_LIMITS, dE, side="right")]
