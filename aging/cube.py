"""Readings as an xarray cube: panel x visit x property x surface state.

A visit is a round at a site: readings of one site less than VISIT_GAP apart belong to the same
visit, because weather, set-up and operator are shared. Visits are numbered from 0 within their
site, spectra among them. What may not stand in a series (`aging.conditions`, and readings of a
panel after the event that ends its unwashed one) is left out and counted in attrs["notes"];
several readings of one cell are averaged.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from aging.conditions import comparable
from aging.records import Exposure
from aging.spectra import alike
from aging.vocabulary import DAYS_PER_MONTH, PROPERTIES, SERIES_ENDING_EVENTS, SURFACE_STATES

VISIT_GAP = pd.Timedelta(hours=2)
LOOK_NM = np.arange(300.0, 2501.0, 5.0)
OF_PANEL = ("formulation", "site", "kind")


def moments(text: pd.Series) -> pd.Series:
    """ISO 8601 dates and moments as local clock time without offset."""
    return pd.to_datetime(text.str.slice(0, 19), format="ISO8601")


def known_at(exposure: Exposure, as_of: pd.Timestamp) -> Exposure:
    """The facts that could be known at a moment."""
    until = as_of + pd.Timedelta(days=1) if as_of == as_of.normalize() else as_of
    known = {
        "readings": exposure.readings[moments(exposure.readings["read_on"]) < until],
        "spectra": exposure.spectra[moments(exposure.spectra["read_on"]) < until],
        "events": exposure.events[moments(exposure.events["on"]) < until],
        "weather": exposure.weather[moments(exposure.weather["date"]) < until],
        "panels": exposure.panels.assign(
            closed_on=exposure.panels["closed_on"].where(
                moments(exposure.panels["closed_on"]) < until
            )
        ),
    }
    return replace(exposure, **known)


def _series_end(exposure: Exposure) -> pd.Series:
    """Moment after which a panel's unwashed series no longer counts; NaT while it runs."""
    panels = exposure.panels[["panel", "site", "exposed_on", "closed_on"]]
    events = exposure.events[exposure.events["kind"].isin(SERIES_ENDING_EVENTS)]
    site_wide = events[events["panel"].isna()].drop(columns="panel")
    ends = pd.concat([
        panels.rename(columns={"closed_on": "on"}),
        events[["panel", "on"]].merge(panels, on="panel"),
        site_wide[["site", "on"]].merge(panels, on="site"),
    ], ignore_index=True)  # fmt: skip
    end = moments(ends["on"]).dt.normalize() + pd.Timedelta(days=1)
    counts = end > moments(ends["exposed_on"])
    return end[counts].groupby(ends.loc[counts, "panel"]).min()


def _number_visits(*both: pd.DataFrame) -> list[pd.DataFrame]:
    """Add `visit`, numbered within the site, to rows with `site` and `at`."""
    rounds = pd.concat([rows[["site", "at"]].drop_duplicates() for rows in both])
    rounds = rounds.drop_duplicates().sort_values(["site", "at"])
    same_site = rounds["site"].eq(rounds["site"].shift())
    new = ~(same_site & (rounds["at"].diff() < VISIT_GAP))
    rounds["visit"] = new.groupby(rounds["site"]).cumsum() - 1
    return [rows.merge(rounds, on=["site", "at"], how="left") for rows in both]


def seen(exposure: Exposure) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    """Readings and spectra that count, with `site`, `at`, `visit`; what readings were left out."""
    readings, left_out = comparable(exposure)
    notes, kept = list(left_out), []
    end = _series_end(exposure)
    for frame in (readings, _outdoors(exposure.spectra)):
        rows = frame.merge(exposure.panels[["panel", "site"]], on="panel", how="inner")
        rows["at"] = moments(rows["read_on"])
        over = rows["at"] >= end.reindex(rows["panel"]).to_numpy()
        late = over & (rows["surface_state"] == "as_exposed")
        if late.any() and frame is readings:
            notes.append(f"{late.sum()} readings after the end of their series left out")
        kept.append(rows[~late])
    known, measured = _number_visits(*kept)
    return known, measured, notes


def _outdoors(spectra: pd.DataFrame) -> pd.DataFrame:
    return spectra[spectra["evidence"].fillna("outdoor") == "outdoor"]


def build(exposure: Exposure, as_of: pd.Timestamp | None = None) -> xr.Dataset:
    """Build the cube: variable `value`, coordinates of panel and of (panel, visit).

    `as_of` hides what came later (a date without a time includes its whole day).
    """
    if as_of is not None:
        exposure = known_at(exposure, as_of)
    panels = exposure.panels
    readings, spectra, notes = seen(exposure)
    properties = [name for name in PROPERTIES if (readings["property"] == name).any()]
    states = [name for name in SURFACE_STATES if (readings["surface_state"] == name).any()]
    visits = max(int(rows["visit"].max()) + 1 if len(rows) else 0 for rows in (readings, spectra))
    shape = (len(panels), visits, len(properties), len(states))
    at = (
        pd.Index(panels["panel"]).get_indexer(pd.Index(readings["panel"])),
        readings["visit"].to_numpy(),
        pd.Index(properties, dtype="str").get_indexer(pd.Index(readings["property"])),
        pd.Index(states, dtype="str").get_indexer(pd.Index(readings["surface_state"])),
    )
    flat = np.ravel_multi_index(at, shape) if len(readings) else np.zeros(0, dtype=int)
    size = int(np.prod(shape))
    count = np.bincount(flat, minlength=size)
    total = np.bincount(flat, weights=readings["value"].to_numpy(), minlength=size)
    mean = np.divide(total, count, out=np.full(size, np.nan), where=count > 0)
    read_on = np.full(shape[:2], np.datetime64("NaT", "us"))
    read_on[at[0], at[1]] = readings["at"].to_numpy()
    exposed = moments(panels["exposed_on"]).to_numpy()
    months = (read_on - exposed[:, None]) / np.timedelta64(1, "D") / DAYS_PER_MONTH
    cube = xr.Dataset(
        {"value": (("panel", "visit", "property", "surface_state"), mean.reshape(shape))},
        coords={
            "panel": panels["panel"].to_numpy(dtype=np.str_),
            "visit": np.arange(visits),
            "property": np.array(properties, dtype=np.str_),
            "surface_state": np.array(states, dtype=np.str_),
            "unit": ("property", np.array([PROPERTIES[p].unit for p in properties], dtype=np.str_)),
            **{name: ("panel", panels[name].to_numpy(dtype=np.str_)) for name in OF_PANEL},
            "exposed_on": ("panel", exposed),
            "read_on": (("panel", "visit"), read_on),
            "months": (("panel", "visit"), months, {"units": "month", "long_name": "time exposed"}),
        },
        attrs={"notes": "; ".join(notes), "title": "Exposure readings"},
    )
    cube["value"].attrs["long_name"] = "mean reading, in the unit of its property"
    return cube


def spectra(exposure: Exposure, as_of: pd.Timestamp | None = None) -> xr.Dataset:
    """Stored spectra: `reflectance` (observation, wavelength_nm), a fraction.

    Each observation carries panel, visit (as in `build`), surface_state and what is known of them;
    `.set_index(observation=["panel", "visit", "surface_state"]).unstack()` gives the full array.
    Spectra of one set of wavelengths keep it; others are interpolated every 5 nm, to be looked at.
    """
    if as_of is not None:
        exposure = known_at(exposure, as_of)
    rows = seen(exposure)[1].sort_values(["site", "panel", "at"], ignore_index=True)
    panels = exposure.panels.set_index("panel").loc[rows["panel"]]
    groups = list(alike(rows))
    grid = groups[0][1] if len(groups) == 1 else LOOK_NM
    read = np.empty((len(rows), grid.size))
    for group, at, found in groups:
        read[group.index] = [np.interp(grid, at, one) for one in found]
    exposed = moments(panels["exposed_on"]).to_numpy()
    months = (rows["at"].to_numpy() - exposed) / np.timedelta64(1, "D") / DAYS_PER_MONTH
    text = {name: rows[name] for name in ("spectrum", "panel", "surface_state", "instrument")}
    text |= {name: panels[name] for name in OF_PANEL}
    indoors = len(exposure.spectra) - len(_outdoors(exposure.spectra))
    late = len(exposure.spectra) - indoors - len(rows)
    notes = [f"{indoors} spectra of laboratory soiling or slurry tests left out"] * bool(indoors)
    notes += [f"{late} spectra after the end of their series left out"] * bool(late)
    notes += [f"{len(groups)} sets of wavelengths interpolated every 5 nm"] * (len(groups) > 1)
    return xr.Dataset(
        {"reflectance": (("observation", "wavelength_nm"), read, {"units": "1"})},
        coords={
            "wavelength_nm": ("wavelength_nm", grid, {"units": "nm"}),
            **{
                name: ("observation", column.fillna("").to_numpy(dtype=np.str_))
                for name, column in text.items()
            },
            "visit": ("observation", rows["visit"].to_numpy(dtype=np.int64)),
            "read_on": ("observation", rows["at"].to_numpy()),
            "months": ("observation", months, {"units": "month", "long_name": "time exposed"}),
        },
        attrs={"notes": "; ".join(notes), "title": "Reflectance spectra"},
    )


def save(cube: xr.Dataset, path: str | Path) -> None:
    """Write the cube as NetCDF-4."""
    cube.to_netcdf(path, engine="h5netcdf")
