"""The same projection on a dask cluster, for ledgers that outgrow one machine (extra "scale").

The cube comes in chunks of panels, from file or memory. The panels of a site are one task, which
turns their chunks into campaigns where they are read; every campaign is fitted as a task of its
own. What travels is a campaign's arrays one way and its joint draws the other. Functions and seeds
are those of `aging.project`, hence its digits too.

>>> from distributed import Client  # doctest: +SKIP
>>> cube = xarray.open_dataset("cube.nc", chunks={"panel": 3000})  # doctest: +SKIP
>>> aging.scale.project("facts", cube=cube, client=Client("scheduler:8786"))  # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import xarray as xr

from aging.campaigns import Campaign, campaigns
from aging.clocks import TimeAxis, clock_of
from aging.errors import require
from aging.projection import (
    Each,
    Gathered,
    Projection,
    asked,
    fit_gathered,
    fitted_property,
    gather,
    gathered,
    priors_by_zone,
)
from aging.records import Exposure
from aging.source import open_source
from aging.vocabulary import property_named

if TYPE_CHECKING:
    from distributed import Client, Future

NEEDED = ("panel", "visit", "property", "surface_state", "formulation", "site", "kind",
          "exposed_on", "read_on")  # fmt: skip


def project(
    source: str | Path | Exposure,
    months: float | Iterable[float] = 36.0,
    level: float = 0.90,
    property: str = "solar_reflectance",  # noqa: A002 - the field's own word
    *,
    client: Client,
    cube: xr.Dataset | None = None,
    retention: bool = False,
    time: TimeAxis = "month",
    priors: str | Path | None = None,
) -> Projection:
    """Project on a cluster; arguments and errors are those of `aging.project`.

    cube: readings as `aging.cube.build` or a file of `aging.cube.save` gives them, in dask chunks;
    `source` then needs hold only what a cube does not: sites, panels, weather. Its readings are
    taken as they are: instruments are checked where the source itself is read.
    """
    times = asked(months, level, property_named(property), retention=retention)
    read = property_named(property).read_as
    found = (
        gather(source, read, time=time, priors=priors)
        if cube is None
        else gather_chunks(source, cube, read, client=client, time=time, priors=priors)
    )
    fitted = fit_gathered(found, each=on(client)).told_as(property)
    return fitted.project(times, level, retention=retention)


def on(client: Client) -> Each:
    """A map over campaigns that makes each of them a task of the cluster, results in order."""

    def each(work: Callable[[Any], Any], todo: Iterable[Any]) -> Iterator[Any]:
        (held,) = client.scatter([work], broadcast=True, hash=False)
        waiting: list[Future[Any]] = client.map(_call, list(todo), work=held, pure=False)
        while waiting:
            yield waiting.pop(0).result()

    return each


def _call(item: Any, work: Callable[[Any], Any]) -> Any:
    return work(item)


def gather_chunks(
    source: str | Path | Exposure,
    cube: xr.Dataset,
    property: str = "solar_reflectance",  # noqa: A002 - the field's own word
    *,
    client: Client,
    time: TimeAxis = "month",
    priors: str | Path | None = None,
) -> Gathered:
    """What `aging.projection.gather` finds, from a cube in chunks, a task a site."""
    from dask.delayed import delayed

    missing = [name for name in NEEDED if name not in cube.coords]
    require(not missing, "cube: coordinates without", missing, "those of aging.cube.build")
    prop, facts = fitted_property(property), open_source(source)
    sites, clocks = cube["site"].to_numpy(), clock_of(facts, time)

    def of_site(site: str, part: xr.Dataset) -> tuple[Campaign, ...]:
        weather = facts.weather[facts.weather["site"] == site]
        return campaigns(part, weather, prop.name, clock_of=clocks, reduce=time != "day")

    tasks = [
        delayed(of_site)(site, cube.isel(panel=np.flatnonzero(sites == site)))
        for site in np.unique(sites)
    ]
    found = tuple(one for part in client.gather(client.compute(tasks)) for one in part)
    return gathered(facts, prop, priors_by_zone(facts, prop, time, priors), cube, found)
