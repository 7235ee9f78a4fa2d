"""From a source to the campaigns of one property, with the priors they are to be fitted with."""

from __future__ import annotations

import os
import zlib
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import pandas as pd
import xarray as xr
from threadpoolctl import threadpool_limits

from aging import cube as cubes
from aging.campaigns import Campaign, campaigns
from aging.climate.zones import zone
from aging.clocks import TimeAxis, clock_of
from aging.decay.posterior import DRAWS, SitePosterior, fit_site
from aging.decay.priors import ANY, Priors, TimeUnit, priors_for
from aging.decay.site import SiteReadings
from aging.errors import CallError, ModelError, require
from aging.instruments import check_instruments
from aging.precedent import closed_campaigns, learn
from aging.projection import kept
from aging.projection.yellowness import YELLOWNESS_INDEX, completed
from aging.records import Exposure
from aging.source import open_source
from aging.standing import seasons_of
from aging.vocabulary import Property, property_named

Todo = TypeVar("Todo")
Done = TypeVar("Done")
Each = Callable[[Callable[[Any], Any], Iterable[Any]], Iterator[Any]]


@dataclass(frozen=True)
class Gathered:
    """Campaigns of one property, with the priors they are to be fitted with."""

    property: Property
    exposure: Exposure
    campaigns: tuple[Campaign, ...]
    by_zone: dict[str, Priors]
    notes: tuple[str, ...]

    def climate(self, campaign: Campaign) -> str:
        """Climate of a campaign's site, or the site itself where none is named."""
        return str(_climates(self.exposure).get(campaign.site, f"site {campaign.site}"))

    def priors(self, campaign: Campaign) -> Priors:
        """Priors of a campaign's climate, before any precedent."""
        return self.by_zone[zone_of(self.exposure, campaign.site)]

    @cached_property
    def seasons(self) -> dict[str, dict[str, int]]:
        """Middle months of the winter and wet season of each site (`aging.standing.seasons_of`)."""
        latitude = self.exposure.sites.set_index("site")["latitude_deg"]
        weather = dict(list(self.exposure.weather.groupby("site")))
        return {
            site: seasons_of(
                latitude.get(site, np.nan), weather.get(site, self.exposure.weather[:0])
            )
            for site in {one.site for one in self.campaigns}
        }

    def prior_table(self) -> pd.DataFrame:
        """Priors used, as a table that could be given back; climate "*" where all share a row."""
        return self._prior_table

    @cached_property
    def _prior_table(self) -> pd.DataFrame:
        every = [its.table.reset_index().assign(climate=zone) for zone, its in self.by_zone.items()]
        table = pd.concat(every, ignore_index=True)
        same = ["quantity", "value", "spread", "unit", "source"]
        shared = table.groupby(same, dropna=False)["climate"].transform("size") == len(every)
        return table.assign(climate=table["climate"].mask(shared, ANY)).drop_duplicates()


def _climates(exposure: Exposure) -> pd.Series:
    return exposure.sites.set_index("site")["climate"].dropna()


def zone_of(exposure: Exposure, site: str) -> str:
    """Climate whose rows of the table of priors hold at a site."""
    weather = exposure.weather
    return zone(_climates(exposure).get(site, ""), weather[weather["site"] == site])


def gather(
    source: str | Path | Exposure,
    property: str = "solar_reflectance",  # noqa: A002 - the field's own word
    as_of: str | pd.Timestamp | None = None,
    *,
    time: TimeAxis = "month",
    priors: str | Path | None = None,
) -> Gathered:
    """What `fit` fits; arguments and errors are its own."""
    prop = fitted_property(property)
    moment = None if as_of is None else _moment(as_of)
    exposure = open_source(source)
    if moment is not None:
        every, exposure = exposure.readings, cubes.known_at(exposure, moment)
        if exposure.readings.empty and len(every):
            first = every["read_on"].min()
            raise CallError(f"as_of: {as_of} is before the first reading, of {first[:10]}")
    exposure, made = completed(exposure) if prop.name == YELLOWNESS_INDEX else (exposure, ())
    by_zone = priors_by_zone(exposure, prop, time, priors)
    checked = check_instruments(exposure, prop.name, next(iter(by_zone.values())))
    cube = cubes.build(checked.exposure)
    found = campaigns(
        cube, exposure.weather, prop.name,
        clock_of=clock_of(exposure, time), checked=checked, reduce=time != "day",
    )  # fmt: skip
    whole = gathered(exposure, prop, by_zone, cube, found)
    return replace(whole, notes=(*made, *whole.notes))


def fitted_property(name: str) -> Property:
    """The property of a name; CallError where it is none, a derived one, or one of ratings."""
    prop = property_named(name)
    source = f"one that is read; it is derived from {prop.derived_from}"
    require(not prop.derived_from, "property", name, source)
    require(prop.scale != "ordinal", "property", name, "a ratio or interval scale, not ratings")
    return prop


def priors_by_zone(
    exposure: Exposure, prop: Property, time: TimeAxis, priors: str | Path | None
) -> dict[str, Priors]:
    """Priors of every climate that an exposure has sites in."""
    unit: TimeUnit = "day" if time == "day" else "month"
    zones = {zone_of(exposure, site) for site in exposure.panels["site"].unique()} or {ANY}
    return {name: priors_for(prop, unit, priors, name) for name in sorted(zones)}


def gathered(
    exposure: Exposure,
    prop: Property,
    by_zone: dict[str, Priors],
    cube: xr.Dataset,
    found: tuple[Campaign, ...],
) -> Gathered:
    """What was found in a cube; ModelError where that is nothing."""
    if not found:
        have = ", ".join(map(str, cube["property"].to_numpy())) or "none"
        raise ModelError(f"no unwashed readings of {prop.name} to fit; properties read: {have}")
    notes = (*filter(None, (cube.attrs["notes"],)), *_told(found))
    return Gathered(prop, exposure, found, by_zone, notes)


def _told(found: Iterable[Campaign]) -> Iterator[str]:
    """Each note on campaigns once, with its sites where it is not true of all."""
    sites = dict.fromkeys(one.site for one in found)
    of_note: dict[str, dict[str, None]] = {}
    for one in found:
        for note in one.notes:
            of_note.setdefault(note, {})[one.site] = None
    for note, where in of_note.items():
        yield note if where == sites else f"{note}: {', '.join(where)}"


def _moment(as_of: str | pd.Timestamp) -> pd.Timestamp:
    try:
        return pd.Timestamp(as_of).tz_localize(None)
    except ValueError as error:
        raise CallError(f"as_of: {as_of!r} is not an ISO date such as 2026-03-31") from error


def posterior(
    campaign: Campaign,
    priors: Priors,
    *,
    readings: SiteReadings | None = None,
    draws: int = DRAWS,
    fitted: Callable[..., SitePosterior] = fit_site,
) -> SitePosterior:
    """Posterior of a campaign, or of part of its readings; the seed is the campaign's own.

    `fitted` does the work: `aging.projection.kept.fitted` takes from the shelf what is there.
    """
    given = campaign.readings if readings is None else readings
    with threadpool_limits(1, user_api="blas"):  # many small systems: threads only get in the way
        return fitted(given, priors, draws=draws, seed=seed_of(campaign))


def priors_known(found: Gathered) -> Callable[[Campaign, pd.Timestamp], Priors]:
    """Priors that `aging.fit` would have had for a campaign on a day."""
    panels, fitted = found.exposure.panels, dict[int, SitePosterior]()
    closed_on = cubes.moments(panels["closed_on"])

    def on(campaign: Campaign, day: pd.Timestamp) -> Priors:
        known = panels.assign(closed_on=panels["closed_on"].where(closed_on <= day))
        taught = []
        for one in closed_campaigns(found.campaigns, known):
            if one is not campaign and found.climate(one) == found.climate(campaign):
                if id(one) not in fitted:
                    fitted[id(one)] = posterior(one, found.priors(one), fitted=kept.fitted)
                taught.append(fitted[id(one)])
        return learn(found.priors(campaign), taught)

    return on


def side_by_side(work: Callable[[Todo], Done], todo: Iterable[Todo]) -> Iterator[Done]:
    """Results in order, on the cores there are: numpy lets go of the interpreter."""
    with threadpool_limits(1, user_api="blas"), ThreadPoolExecutor(os.cpu_count()) as pool:
        yield from pool.map(work, todo)


def seed_of(campaign: Campaign) -> int:
    """Seed of a campaign's draws, by its site and start."""
    return zlib.crc32(f"{campaign.site}@{campaign.exposed_on:%Y-%m-%d}".encode())
