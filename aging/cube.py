"""Readings as an xarray cube: panel x visit x property x surface state.

A visit is a round at a site: readings of one site less than VISIT_GAP apart belong to the same
visit, because weather, set-up and operator are shared. Visits are numbered from 0 within their
site. Readings of a panel after the event that ends its unwashed series are left out (and counted
in attrs["notes"]); several readings of one cell are averaged.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from aging.records import Exposure
from aging.vocabulary import DAYS_PER_MONTH, PROPERTIES, SERIES_ENDING_EVENTS, SURFACE_STATES

VISIT_GAP = pd.Timedelta(hours=2)


def moments(text: pd.Series) -> pd.Series:
    """ISO 8601 dates and moments as local clock time without offset."""
    return pd.to_datetime(text.str.slice(0, 19), format="ISO8601")


def _series_end(exposure: Exposure) -> pd.Series:
    """Moment after which a panel's unwashed series no longer counts; NaT while it runs."""
    panels = exposure.panels.set_index("panel")
    end = moments(panels["closed_on"]) + pd.Timedelta(days=1)
    events = exposure.events[exposure.events["kind"].isin(SERIES_ENDING_EVENTS)]
    at = moments(events["on"]) + pd.Timedelta(days=1)
    own = at[events["panel"].notna()].groupby(events["panel"]).min()
    site_wide = at[events["panel"].isna()].groupby(events["site"]).min()
    ends = pd.concat([end, own.reindex(panels.index), panels["site"].map(site_wide)], axis=1)
    ends = ends.astype("datetime64[us]")
    starts = moments(panels["exposed_on"])
    return ends.where(ends.gt(starts, axis=0)).min(axis=1)


def _number_visits(readings: pd.DataFrame) -> pd.DataFrame:
    """Add `visit`, numbered within the site, to readings with `site` and `at`."""
    rounds = readings[["site", "at"]].drop_duplicates().sort_values(["site", "at"])
    same_site = rounds["site"].eq(rounds["site"].shift())
    new = ~(same_site & (rounds["at"].diff() < VISIT_GAP))
    rounds["visit"] = new.groupby(rounds["site"]).cumsum() - 1
    return readings.merge(rounds, on=["site", "at"], how="left")


def build(exposure: Exposure) -> xr.Dataset:
    """Build the cube. Variables: value, spots_sd; coordinates of panel and of (panel, visit)."""
    panels = exposure.panels
    readings = exposure.readings.merge(
        panels[["panel", "site", "kind", "exposed_on"]], on="panel", how="inner"
    )
    readings["at"] = moments(readings["read_on"])
    end = readings["panel"].map(_series_end(exposure))
    late = (readings["at"] >= end) & (readings["surface_state"] == "as_exposed")
    readings = _number_visits(readings[~late])
    properties = [name for name in PROPERTIES if (readings["property"] == name).any()]
    states = [name for name in SURFACE_STATES if (readings["surface_state"] == name).any()]
    visits = int(readings["visit"].max()) + 1 if len(readings) else 0
    shape = (len(panels), visits, len(properties), len(states))
    at = (
        pd.Index(panels["panel"]).get_indexer(readings["panel"]),
        readings["visit"].to_numpy(),
        pd.Index(properties, dtype="str").get_indexer(readings["property"]),
        pd.Index(states, dtype="str").get_indexer(readings["surface_state"]),
    )
    flat = np.ravel_multi_index(at, shape) if len(readings) else np.zeros(0, dtype=int)
    size = int(np.prod(shape))
    count = np.bincount(flat, minlength=size)
    total = np.bincount(flat, weights=readings["value"].to_numpy(), minlength=size)
    mean = np.divide(total, count, out=np.full(size, np.nan), where=count > 0)
    first = readings.groupby(["panel", "visit"])["at"].min().unstack("visit")
    read_on = first.reindex(index=panels["panel"], columns=range(visits))
    exposed = moments(panels["exposed_on"]).to_numpy()
    months = (read_on.to_numpy() - exposed[:, None]) / np.timedelta64(1, "D") / DAYS_PER_MONTH
    notes = [f"{late.sum()} readings after the end of their series left out"] if late.any() else []
    cube = xr.Dataset(
        {"value": (("panel", "visit", "property", "surface_state"), mean.reshape(shape))},
        coords={
            "panel": panels["panel"].to_numpy(dtype=np.str_),
            "visit": np.arange(visits),
            "property": np.array(properties, dtype=np.str_),
            "surface_state": np.array(states, dtype=np.str_),
            **{
                name: ("panel", panels[name].to_numpy(dtype=np.str_))
                for name in ("formulation", "site", "kind")
            },
            "exposed_on": ("panel", exposed),
            "read_on": (("panel", "visit"), read_on.to_numpy().astype("datetime64[us]")),
            "months": (("panel", "visit"), months, {"units": "month", "long_name": "time exposed"}),
        },
        attrs={"notes": "; ".join(notes), "title": "Exposure readings"},
    )
    cube["property"].attrs["units"] = ", ".join(PROPERTIES[name].unit for name in properties)
    cube["value"].attrs["long_name"] = "mean reading, in the unit of its property"
    return cube


def save(cube: xr.Dataset, path: str | Path) -> None:
    """Write the cube as NetCDF-4."""
    cube.to_netcdf(path, engine="h5netcdf")
