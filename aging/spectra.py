"""Stored spectra as arrays, and the readings that follow from them under named conditions.

A derived reading names its spectrum, and its reading_id says what it holds under as well, so that
deriving it again stores nothing new. The spectrum stays as it was measured.
"""

from __future__ import annotations

from collections.abc import Iterator
from operator import attrgetter

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aging.errors import CallError
from aging.optics.colour import (
    GRID_NM,
    YELLOWNESS,
    Colour,
    Conditions,
    colour_of_spectra,
    yellowness_index,
)
from aging.optics.solar import Weighting, solar_reflectance, weighting_named
from aging.records import Finding, Severity, empty_frame
from aging.vocabulary import GEOMETRIES, PROPERTIES

Array = NDArray[np.float64]

DIGITS = 6  # of a derived value: finer than any instrument, coarser than the order of a sum
LAB = ("lightness", "a_star", "b_star")
OF_SPECTRUM = ["panel", "read_on", "surface_state", "instrument", "operator", "evidence",
               "spectrum"]  # fmt: skip


def listed(values: Array) -> str:
    """Numbers as the text of a list."""
    return " ".join(f"{value!r}".removesuffix(".0") for value in values.tolist())


def numbers_of(text: str) -> Array:
    """Numbers of a list."""
    return np.array(text.split(), dtype=np.float64)


def alike(spectra: pd.DataFrame) -> Iterator[tuple[pd.DataFrame, Array, Array]]:
    """Rows of the sheet that share wavelengths: rows, nm (W,), reflectance (rows, W)."""
    for wavelengths, rows in spectra.groupby("wavelengths_nm", sort=False):
        yield rows, numbers_of(str(wavelengths)), np.stack([*map(numbers_of, rows["reflectances"])])


def changed(spectra: pd.DataFrame, stored: pd.DataFrame) -> list[str]:
    """Ids of spectra that are stored already and otherwise."""
    both = spectra.merge(stored, on="spectrum")
    held = ("wavelengths_nm", "reflectances", "evidence")
    same = [both[f"{name}_x"].fillna("") == both[f"{name}_y"].fillna("") for name in held]
    return both.loc[~(same[0] & same[1] & same[2]), "spectrum"].tolist()


def derived(
    spectra: pd.DataFrame,
    weighting: str | Weighting,
    *,
    illuminant: str | None = None,
    observer_deg: int = 10,
    geometry: str | None = None,
) -> tuple[pd.DataFrame, tuple[Finding, ...]]:
    """Readings of the solar reflectance of spectra and, under an illuminant, of their colour.

    Yellowness where ASTM E313 has coefficients. Values that the property cannot have, and colour
    of spectra too coarse for it, are findings instead. `geometry` is noted as given. CallError
    for a weighting, illuminant, observer or geometry that is not known.
    """
    sun = weighting_named(weighting) if isinstance(weighting, str) else weighting
    light = None
    if illuminant is not None:  # geometry has no part in the sums
        light = Conditions(illuminant, observer_deg, geometry or GEOMETRIES[0])
        colour_of_spectra(GRID_NM, np.ones(GRID_NM.size), light)
    parts, findings = [empty_frame("readings")], list[Finding]()
    for rows, at, R in alike(spectra):
        value = solar_reflectance(at, R, sun).value
        parts.append(_readings(rows, "solar_reflectance", value, weighting=sun.name))
        if light is not None:
            try:
                colour = colour_of_spectra(at, R, light)
            except CallError as error:
                seen = f"{rows['spectrum'].iloc[0]} and {len(rows) - 1} more: {error}"
                findings.append(_finding("gap", seen, "steps of at most 10 nm", "warn"))
                continue
            held = {"illuminant": illuminant, "observer_deg": observer_deg, "geometry": geometry}
            for name, values in _coordinates(colour).items():
                parts.append(_readings(rows, name, values, **held))
    readings = pd.concat(parts, ignore_index=True)
    limits = readings["property"].map(PROPERTIES)
    low, high = (limits.map(attrgetter(end)).astype("float64") for end in ("low", "high"))
    possible = readings["value"].between(low, high)
    for name, value in readings.loc[~possible, ["reading_id", "value"]].itertuples(index=False):
        findings.append(_finding("out-of-range", f"{name}: {value:g}", "what can exist"))
    return readings[possible].reset_index(drop=True), tuple(findings)


def _coordinates(colour: Colour) -> dict[str, Array]:
    found = dict(zip(LAB, colour.lab.T, strict=True))
    if (colour.conditions.illuminant, colour.conditions.observer_deg) in YELLOWNESS:
        found["yellowness_index"] = yellowness_index(colour)
    return found


def _readings(
    spectra: pd.DataFrame, name: str, value: Array, **held: str | int | None
) -> pd.DataFrame:
    """A reading a spectrum, its id made of the spectrum's, the property and what it holds under."""
    stated = {column: under for column, under in held.items() if under is not None}
    facts = {"property": name, "unit": PROPERTIES[name].unit, **stated}
    table = spectra[OF_SPECTRUM].assign(value=np.round(value, DIGITS), **facts)
    table["reading_id"] = table["spectrum"] + "/" + "/".join([name, *map(str, stated.values())])
    empty = empty_frame("readings")
    return table.reindex(columns=empty.columns).astype(empty.dtypes.to_dict())


def _finding(code: str, seen: str, allowed: str, severity: Severity = "block") -> Finding:
    action = "look the spectrum up; nothing was derived from it"
    return Finding(code, severity, "spectra", None, "reflectances", seen, allowed, action)
