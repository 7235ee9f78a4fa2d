"""Frames of the page of spectra: what was measured, what is drawn, what each band lost."""

from __future__ import annotations

import numpy as np
import pandas as pd

from aging.cube import seen
from aging.optics.solar import RANGE_NM, solar_reflectance, weighting_named
from aging.records import Exposure
from aging.spectra import numbers_of
from aging.vocabulary import DAYS_PER_MONTH
from dashboard import tables, wording

STEP_NM = 5.0
GRID_NM = np.arange(RANGE_NM[0], RANGE_NM[1] + STEP_NM, STEP_NM)
MOST_VISITS = 6  # as many as have a colour of their own


def measured(exposure: Exposure) -> pd.DataFrame:
    """Spectra of panels in the weather, the first first; `wavelength_nm` and `reflectance` arrays.

    `when` tells the months exposed, `name` the surface state as well.
    """
    facts = tables.panels(exposure)[["panel", "formulation", "exposed_on"]]
    frame = seen(exposure)[1].merge(facts, on="panel")
    frame["on"] = frame["at"].dt.normalize()
    days = (frame["on"] - frame["exposed_on"]).dt.days
    frame["when"] = [wording.exposed(months) for months in days / DAYS_PER_MONTH]
    frame["state"] = frame["surface_state"].map(wording.STATES)
    frame["name"] = [", ".join(pair) for pair in zip(frame["when"], frame["state"], strict=True)]
    frame["wavelength_nm"] = [*map(numbers_of, frame["wavelengths_nm"])]
    frame["reflectance"] = [*map(numbers_of, frame["reflectances"])]
    return frame.sort_values(["visit", "state", "at"], kind="stable", ignore_index=True)


def first_and_later(spectra: pd.DataFrame) -> tuple[pd.Series, pd.DataFrame]:
    """Of one panel's spectra the first, as exposed where it was read so, and those that follow."""
    exposed = spectra[spectra["surface_state"] == "as_exposed"]
    first = (exposed if len(exposed) else spectra).iloc[0]
    return first, spectra[spectra["visit"] > first["visit"]]


def latest(later: pd.DataFrame) -> pd.Series:
    """The latest spectrum, as exposed where one was read so."""
    exposed = later[later["surface_state"] == "as_exposed"]
    return (exposed if len(exposed) else later).iloc[-1]


def overlaid(spectra: pd.DataFrame, *visits: int) -> pd.DataFrame:
    """Of one panel's spectra those of the named visits and of the latest, at most MOST_VISITS."""
    others = [visit for visit in spectra["visit"].unique() if visit not in visits]
    kept = [*visits, *others[::-1]][:MOST_VISITS]
    return spectra[spectra["visit"].isin(kept)]


def drawn(spectra: pd.DataFrame) -> pd.DataFrame:
    """spectrum, when, state, wavelength_nm, reflectance: a row every 5 nm, only to be drawn."""
    lines = [
        pd.DataFrame({
            "spectrum": row.spectrum, "when": row.when, "state": row.state,
            "wavelength_nm": GRID_NM,
            "reflectance": np.interp(GRID_NM, row.wavelength_nm, row.reflectance),
        })
        for row in spectra.itertuples()
    ]  # fmt: skip
    return pd.concat(lines, ignore_index=True)


def sun(weighting: str) -> pd.DataFrame:
    """wavelength_nm, irradiance (W/m2/nm): means over 5 nm, only to be drawn."""
    found = weighting_named(weighting)
    near = np.rint((found.wavelength_nm - RANGE_NM[0]) / STEP_NM)
    mean = pd.Series(found.irradiance).groupby(RANGE_NM[0] + near * STEP_NM).mean()
    return (
        mean[mean.index.isin(GRID_NM)].rename_axis("wavelength_nm").reset_index(name="irradiance")
    )


def reduced(spectra: pd.DataFrame, weighting: str) -> pd.DataFrame:
    """The spectra with their `solar_reflectance` and what each band reflects, by its name."""
    pairs = zip(spectra["wavelength_nm"], spectra["reflectance"], strict=True)
    rows = []
    for at, reflectance in pairs:
        found = solar_reflectance(at, reflectance, weighting)
        bands = {band.name: float(band.reflectance) for band in found.bands}
        rows.append({"solar_reflectance": float(found.value), **bands})
    return spectra.join(pd.DataFrame(rows, index=spectra.index))


def lost(initial: pd.Series, aged: pd.Series, weighting: str) -> pd.DataFrame:
    """A row a band: limits, share of the sun's energy, reflectance then and now, loss.

    `loss` is what the band brings to the loss of solar reflectance, `part` its share of it, without
    a value where nothing was lost.
    """
    then, now = (
        solar_reflectance(one["wavelength_nm"], one["reflectance"], weighting)
        for one in (initial, aged)
    )
    rows = pd.DataFrame([
        {
            "band": old.name, "limits": f"{old.low_nm:g} to {old.high_nm:g}", "share": old.share,
            "then": float(old.reflectance), "now": float(new.reflectance),
        }
        for old, new in zip(then.bands, now.bands, strict=True)
    ])  # fmt: skip
    rows["loss"] = rows["share"] * (rows["then"] - rows["now"])
    total = rows["loss"].sum()
    return rows.assign(part=rows["loss"] / total if total > 0 else np.nan)
