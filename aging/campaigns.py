"""From the cube to campaigns: panels exposed together at a site, ready for the model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from aging.climate.soiling import dryness
from aging.decay.site import Array, Index, SiteReadings, site_readings
from aging.vocabulary import DAYS_PER_MONTH

START_GAP = np.timedelta64(10, "D")  # panels hung within such steps belong to one campaign
SERIES_KINDS = ("exposed", "roof_patch")


@dataclass(frozen=True)
class Campaign:
    """One campaign: its arrays and the names behind them.

    formulations : (G,) name of each group;  panels : (P,) ids
    visits : (V,) first moment read, unwashed visits first
    """

    site: str
    exposed_on: pd.Timestamp
    formulations: tuple[str, ...]
    panels: tuple[str, ...]
    visits: pd.DatetimeIndex
    readings: SiteReadings

    def of_group(self, group: int) -> Array:
        """Unwashed readings, panels of the group x the campaign's unwashed visits."""
        table = self.readings.values  # noqa: PD011 - an array, not a frame
        return table[self.readings.group == group][:, self.readings.washed == 0]


def campaigns(
    cube: xr.Dataset,
    weather: pd.DataFrame,
    property_name: str,
    *,
    time_per_month: float = 1.0,
) -> tuple[Campaign, ...]:
    """Split one property's series into campaigns, in order of site and start.

    `time_per_month` turns months into the unit of time of the priors. Panels without an unwashed
    reading are left out; an empty tuple means that nothing was read.
    """
    if property_name not in cube["property"] or "as_exposed" not in cube["surface_state"]:
        return ()
    values = cube["value"].sel(property=property_name)
    unwashed = values.sel(surface_state="as_exposed").to_numpy()
    washed = (
        values.sel(surface_state="washed").to_numpy()
        if "washed" in cube["surface_state"]
        else np.full_like(unwashed, np.nan)
    )
    series = np.isin(cube["kind"].to_numpy(), SERIES_KINDS) & (~np.isnan(unwashed)).any(axis=1)
    sites = cube["site"].to_numpy()
    found: list[Campaign] = []
    for site in np.unique(sites[series]):
        rows = np.flatnonzero(series & (sites == site))
        start = cube["exposed_on"].to_numpy()[rows]
        order = np.argsort(start, kind="stable")
        cuts = np.flatnonzero(np.diff(start[order]) > START_GAP) + 1
        states = dryness(weather[weather["site"] == site])
        for part in np.split(order, cuts):
            own = rows[np.sort(part)]
            found.append(_campaign(cube, unwashed[own], washed[own], own, states, time_per_month))
    return tuple(found)


def _campaign(  # noqa: PLR0917 - one campaign of one site
    cube: xr.Dataset,
    unwashed: Array,
    washed: Array,
    rows: Index,
    states: pd.Series,
    per_month: float,
) -> Campaign:
    panel = cube.isel(panel=rows)
    start = panel["exposed_on"].to_numpy().min()
    opened = np.flatnonzero((~np.isnan(unwashed)).any(axis=0))
    cleaned = np.flatnonzero((~np.isnan(washed)).any(axis=0))
    used = np.concatenate([opened, cleaned])
    read_on = pd.DataFrame(panel["read_on"].to_numpy()[:, used])
    first = pd.DatetimeIndex(read_on.min(axis=0).to_numpy())
    days = (first.to_numpy() - start) / np.timedelta64(1, "D")
    names, group = np.unique(panel["formulation"].to_numpy(), return_inverse=True)
    state = states.reindex(first.normalize()).to_numpy() - states.mean()
    is_washed = np.repeat([0.0, 1.0], [opened.size, cleaned.size])
    readings = site_readings(
        np.concatenate([unwashed[:, opened], washed[:, cleaned]], axis=1),
        group.astype(np.int64), days / DAYS_PER_MONTH * per_month,
        dryness=np.nan_to_num(state), washed=is_washed,
        dryness_sd=float(np.nan_to_num(states.std())),
    )  # fmt: skip
    return Campaign(
        str(panel["site"].to_numpy()[0]), pd.Timestamp(start), tuple(map(str, names)),
        tuple(map(str, panel["panel"].to_numpy())), first, readings,
    )  # fmt: skip
