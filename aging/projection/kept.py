"""Fits kept on disk, each by a digest of its readings, its priors and its seed.

A new reading changes the digest of its own campaign; what closed campaigns teach changes that of
the running ones of their climate. What is left is taken from the shelf, with the same digits.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import astuple, fields
from typing import Any

import numpy as np

from aging import shelf
from aging.decay.nodes import SCALARS, Grid
from aging.decay.posterior import SitePosterior, fit_site
from aging.decay.priors import Priors
from aging.decay.site import Array, SiteReadings
from aging.decay.spreads import PanelSpreads

KIND, FORECAST = "fit", "forecast"
DRAWN = ("node", "path", "panel", "visits", "visit_cov", "calm")


def named(site: SiteReadings, priors: Priors, *, draws: int, seed: int) -> str:
    """Digest of all that a posterior follows from."""
    table = priors.table[["value", "spread"]].reset_index()
    return shelf.digest(
        [getattr(site, one.name) for one in fields(site)], table, priors.time, draws, seed
    )


def fitted(site: SiteReadings, priors: Priors, *, draws: int, seed: int) -> SitePosterior:
    """As `aging.decay.posterior.fit_site`, from the shelf where it was fitted before."""
    name = named(site, priors, draws=draws, seed=seed)
    found = shelf.get(KIND, name)
    if found is None:
        made = fit_site(site, priors, draws=draws, seed=seed)
        shelf.put(KIND, name, _laid_down(made))
        found = shelf.get(KIND, name)  # its arrays need no memory of ours
        if found is None:
            return made
    return _taken_up(found, site, priors, seed)


def forecast(
    fit: Callable[[], SitePosterior], name: str, month: float, shares: Sequence[float]
) -> Array:
    """Quantiles (Q, G), at `shares`, of the reading of a fit `named` so at a time."""
    name = shelf.digest(name, month, shares)
    found = shelf.get(FORECAST, name)
    if found is not None:
        return found.arrays["ends"]
    ends = np.quantile(fit().at([month])[1][0], shares, axis=0)
    shelf.put(FORECAST, name, shelf.Kept(arrays={"ends": ends}))
    return ends


def _laid_down(made: SitePosterior) -> shelf.Kept:
    grid = {one.name: getattr(made.grid, one.name) for one in fields(Grid)}
    facts = {name: grid.pop(name) for name in SCALARS}
    facts |= {"spreads": astuple(made.spreads), "course_weight": made.course_weight}
    drawn = {name: getattr(made, name) for name in DRAWN}
    return shelf.Kept(facts, arrays={f"grid {name}": its for name, its in grid.items()} | drawn)


def _taken_up(found: shelf.Kept, site: SiteReadings, priors: Priors, seed: int) -> SitePosterior:
    facts, arrays = found.facts, found.arrays
    grid = Grid(
        courses=tuple(facts["courses"]), span=facts["span"], late_width=facts["late_width"],
        **{name.removeprefix("grid "): its for name, its in arrays.items() if " " in name},
    )  # fmt: skip
    drawn: dict[str, Any] = {name: arrays[name] for name in DRAWN}
    return SitePosterior(
        site=site, grid=grid, priors=priors, spreads=PanelSpreads(*facts["spreads"]),
        course_weight=facts["course_weight"], seed=seed, **drawn,
    )  # fmt: skip
