"""From the cube to campaigns: panels exposed together at a site, ready for the model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from aging.climate.clock import Clock, steady
from aging.climate.soiling import dryness
from aging.clocks import ClockOf
from aging.decay.site import Array, SiteReadings
from aging.instruments import Checked
from aging.rounds import rounds, unwashed_rounds
from aging.vocabulary import DAYS_PER_MONTH

START_GAP = np.timedelta64(10, "D")  # panels hung within such steps belong to one campaign
SERIES_KINDS = ("exposed", "roof_patch")
DAY = np.timedelta64(1, "D")


@dataclass(frozen=True)
class Campaign:
    """One campaign: its arrays and the names behind them.

    formulations : (G,) name of each group;  panels : (P,) ids
    visits : (V,) first moment read, unwashed visits first;  months : (V,) of exposure by then
    clock : turns months of exposure into the time that `readings` count in
    """

    site: str
    exposed_on: pd.Timestamp
    formulations: tuple[str, ...]
    panels: tuple[str, ...]
    visits: pd.DatetimeIndex
    months: Array
    readings: SiteReadings
    clock: Clock
    notes: tuple[str, ...] = ()

    def of_group(self, group: int) -> Array:
        """Unwashed readings, panels of the group x the campaign's unwashed visits."""
        table = self.readings.values  # noqa: PD011 - an array, not a frame
        return table[self.readings.group == group][:, self.readings.washed == 0]


def campaigns(
    cube: xr.Dataset,
    weather: pd.DataFrame,
    property_name: str,
    *,
    clock_of: ClockOf | None = None,
    checked: Checked | None = None,
    reduce: bool = True,
) -> tuple[Campaign, ...]:
    """Split one property's series into campaigns, in order of site and start.

    `clock_of` gives each its clock, months otherwise; `checked` says what is left of instruments'
    offsets, where the cube was built without them; `reduce` turns dense series into dated states.
    Panels without an unwashed reading are left out; an empty tuple means that nothing was read.
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
    panels = cube[["formulation", "exposed_on", "read_on"]]
    found: list[Campaign] = []
    for site in np.unique(sites[series]):
        rows = np.flatnonzero(series & (sites == site))
        start = cube["exposed_on"].to_numpy()[rows]
        order = np.argsort(start, kind="stable")
        cuts = np.flatnonzero(np.diff(start[order]) > START_GAP) + 1
        own_weather = weather[weather["site"] == site]
        for part in np.split(order, cuts):
            own = rows[np.sort(part)]
            one = _Source(str(site), panels.isel(panel=own), unwashed[own], washed[own])
            found.append(_campaign(one, own_weather, clock_of, checked, reduce=reduce))
    return tuple(found)


@dataclass(frozen=True)
class _Source:
    """A campaign's part of the cube: values (P, V) of its panels."""

    site: str
    panels: xr.Dataset
    unwashed: Array
    washed: Array


def _campaign(
    source: _Source,
    weather: pd.DataFrame,
    clock_of: ClockOf | None,
    checked: Checked | None,
    *,
    reduce: bool,
) -> Campaign:
    site, read_on = source.site, source.panels["read_on"].to_numpy()
    start = source.panels["exposed_on"].to_numpy().min()
    panels = tuple(map(str, source.panels["panel"].to_numpy()))
    names, group = np.unique(source.panels["formulation"].to_numpy(), return_inverse=True)
    opened, notes = unwashed_rounds(source.unwashed, read_on, weather, reduce=reduce)
    cleaned = rounds(source.washed, read_on, weather)
    both = opened.and_then(cleaned)
    visits = pd.DatetimeIndex(both.moment)
    months = (both.moment - start) / DAY / DAYS_PER_MONTH
    clock = steady()
    if clock_of is not None:
        clock, note = clock_of(site, pd.Timestamp(start), panels)
        notes += (note,) * bool(note)
    offset = None
    if checked is not None:
        offset = checked.covariance(site, visits)
        notes += (checked.note(site),)
    readings = SiteReadings(
        both.values, group.astype(np.int64), clock.at(months), both.dryness,
        np.repeat([0.0, 1.0], [opened.moment.size, cleaned.moment.size]), both.error,
        float(np.nan_to_num(dryness(weather).std())), offset,
    )  # fmt: skip
    return Campaign(
        site, pd.Timestamp(start), tuple(map(str, names)), panels, visits, months, readings, clock,
        notes,
    )  # fmt: skip
