"""Spectra that a laboratory instrument (ASTM E903) would measure of simulated panels.

Notation: R reflectance [fraction] over wavelength l [nm], c depth of dirt.
    R new = scale * white: the pigment's edge near 400 nm, bands of water and polymer above 1100
    R     = R new * exp(-c (550 / l)^1.3): dirt takes more of the blue
Scale and c are such that the solar reflectance of the spectrum is the one that was read of the
panel on that day. The shape is assumed for the demo.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
import pandas as pd

from aging.optics.solar import solar_reflectance
from aging.records import Exposure
from aging.simulation.appearance import SIMULATED
from aging.simulation.sheets import as_sheet
from aging.simulation.weather import Array
from aging.spectra import listed
from aging.vocabulary import DAYS_PER_MONTH

INSTRUMENT = "SP-05"
GRID_NM = np.arange(300.0, 2501.0, 10.0)
BANDS = ((1200, 40, 0.02), (1430, 60, 0.04), (1730, 50, 0.09), (1940, 70, 0.10), (2310, 90, 0.20))
EDGE_NM, EDGE_WIDTH_NM, BELOW_EDGE = 397.0, 8.0, 0.06
BLUER = 1.3  # power of 1 / wavelength with which dirt absorbs
DEEPEST, HALVINGS = 4.0, 50
NEAR = 1.5  # months between a mark and the visit that stands for it


def spectra_of(
    exposure: Exposure, panels: Collection[str], months: Sequence[float]
) -> pd.DataFrame:
    """Rows of the spectra sheet: the panels in each surface state read near the months."""
    readings = exposure.readings.merge(exposure.panels[["panel", "exposed_on"]], on="panel")
    read = readings[readings["panel"].isin(panels)].query("property == 'solar_reflectance'")
    days = pd.to_datetime(read["read_on"]) - pd.to_datetime(read["exposed_on"])
    since = (days.dt.days / DAYS_PER_MONTH).to_numpy()
    apart = np.abs(since[:, None] - np.asarray(months))
    nearest = pd.DataFrame(apart).groupby(read["panel"].to_numpy()).transform("min").to_numpy()
    seen = read[((apart == nearest) & (apart < NEAR)).any(axis=1)]
    first = read.drop_duplicates("panel").set_index("panel")["value"]
    R = soiled(seen["panel"].map(first).to_numpy(), seen["value"].to_numpy())
    facts = {name: seen[name].array for name in ("panel", "read_on", "surface_state", "operator")}
    key = seen["panel"] + "/" + seen["read_on"] + "/" + seen["surface_state"] + "/" + INSTRUMENT
    return as_sheet(
        "spectra",
        {
            **facts,
            "spectrum": key.array,
            "instrument": [INSTRUMENT] * len(seen),
            "wavelengths_nm": [listed(GRID_NM)] * len(seen),
            "reflectances": [listed(one) for one in R.round(4)],
        },
    )


def soiled(initial: Array, aged: Array) -> Array:
    """Reflectance (n, W) on GRID_NM of coatings that began at one solar reflectance (n,) each."""
    new = initial[:, None] * white() / _solar(white())
    blue = (550 / GRID_NM) ** BLUER
    low, high = np.full(aged.shape, -DEEPEST), np.full(aged.shape, DEEPEST)
    for _ in range(HALVINGS):
        depth = (low + high) / 2
        bright = _solar(new * np.exp(-depth[:, None] * blue)) > aged
        low, high = np.where(bright, depth, low), np.where(bright, high, depth)
    return new * np.exp(-depth[:, None] * blue)


def white() -> Array:
    """A new white coating on GRID_NM."""
    rise = 1 / (1 + np.exp(-(GRID_NM - EDGE_NM) / EDGE_WIDTH_NM))
    dips = sum(deep * np.exp(-(((GRID_NM - at) / wide) ** 2) / 2) for at, wide, deep in BANDS)
    fall = 1 - 1.2e-4 * np.maximum(GRID_NM - 900, 0)
    return BELOW_EDGE + (0.93 * fall - dips - BELOW_EDGE) * rise


def _solar(reflectance: Array) -> Array:
    weighting = SIMULATED["solar_reflectance"].conditions["weighting"]
    return solar_reflectance(GRID_NM, np.clip(reflectance, 0, 1), weighting).value
