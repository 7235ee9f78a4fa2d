"""From the cube to campaigns: panels exposed together at a site, ready for the model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from aging.climate.soiling import dryness
from aging.decay.site import Array, Index, SiteReadings
from aging.vocabulary import DAYS_PER_MONTH

START_GAP = np.timedelta64(10, "D")  # panels hung within such steps belong to one campaign
SERIES_KINDS = ("exposed", "roof_patch")


@dataclass(frozen=True)
class Campaign:
    """One campaign: its arrays and the names behind them.

    formulations : (G,) name of each group;  panels : (P,) ids;  visits : (V,) first moment read
    """

    site: str
    exposed_on: pd.Timestamp
    formulations: tuple[str, ...]
    panels: tuple[str, ...]
    visits: pd.DatetimeIndex
    readings: SiteReadings

    def of_group(self, group: int) -> Array:
        """Readings (panels of the group x visits)."""
        table = self.readings.values  # noqa: PD011 - an array, not a frame
        return table[self.readings.group == group]


def campaigns(
    cube: xr.Dataset,
    weather: pd.DataFrame,
    property_name: str,
    *,
    surface_state: str = "as_exposed",
    time_per_month: float = 1.0,
) -> tuple[Campaign, ...]:
    """Split one property's series into campaigns, in order of site and start.

    `time_per_month` turns months into the unit of time of the priors. Panels without a reading
    are left out; an empty tuple means that nothing was read.
    """
    if property_name not in cube["property"] or surface_state not in cube["surface_state"]:
        return ()
    values = cube["value"].sel(property=property_name, surface_state=surface_state).to_numpy()
    series = np.isin(cube["kind"].to_numpy(), SERIES_KINDS) & (~np.isnan(values)).any(axis=1)
    sites = cube["site"].to_numpy()
    found: list[Campaign] = []
    for site in np.unique(sites[series]):
        rows = np.flatnonzero(series & (sites == site))
        start = cube["exposed_on"].to_numpy()[rows]
        order = np.argsort(start, kind="stable")
        cuts = np.flatnonzero(np.diff(start[order]) > START_GAP) + 1
        states = _states(weather, str(site))
        found.extend(
            _campaign(cube, values, rows[np.sort(part)], states, time_per_month)
            for part in np.split(order, cuts)
        )
    return tuple(found)


def _states(weather: pd.DataFrame, site: str) -> pd.Series:
    return dryness(weather[weather["site"] == site])


def _campaign(
    cube: xr.Dataset, values: Array, rows: Index, states: pd.Series, per_month: float
) -> Campaign:
    panel = cube.isel(panel=rows)
    start = panel["exposed_on"].to_numpy().min()
    own = values[rows]
    used = np.flatnonzero((~np.isnan(own)).any(axis=0))
    first = pd.DatetimeIndex(
        pd.DataFrame(panel["read_on"].to_numpy()[:, used]).min(axis=0).to_numpy()
    )
    days = (first.to_numpy() - start) / np.timedelta64(1, "D")
    names, group = np.unique(panel["formulation"].to_numpy(), return_inverse=True)
    state = states.reindex(first.normalize()).to_numpy() - states.mean()
    return Campaign(
        str(panel["site"].to_numpy()[0]), pd.Timestamp(start), tuple(map(str, names)),
        tuple(map(str, panel["panel"].to_numpy())), first,
        SiteReadings(
            own[:, used], group.astype(np.int64), days / DAYS_PER_MONTH * per_month,
            np.nan_to_num(state), float(np.nan_to_num(states.std())),
        ),
    )  # fmt: skip
