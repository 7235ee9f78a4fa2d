"""Fit every campaign: closed ones first, then running ones with what those taught."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import count
from pathlib import Path

import pandas as pd

from aging.campaigns import Campaign
from aging.clocks import TimeAxis
from aging.decay.posterior import SitePosterior
from aging.decay.priors import Priors
from aging.precedent import closed_campaigns, learn, told
from aging.projection import kept
from aging.projection.conformal import Fitted, stretched
from aging.projection.fit import Fit, Projection, Series, asked
from aging.projection.gathering import Each, Gathered, gather, posterior, side_by_side
from aging.records import Exposure
from aging.vocabulary import property_named


def fit(
    source: str | Path | Exposure,
    property: str = "solar_reflectance",  # noqa: A002 - the field's own word
    as_of: str | pd.Timestamp | None = None,
    *,
    time: TimeAxis = "month",
    priors: str | Path | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> Fit:
    """Fit every campaign of a property in a folder, workbook, store or Exposure.

    A derived property (sri, surface_temperature) is told from a fit of what it is derived from.
    as_of hides all later readings; time is the clock (`aging.clocks`), "day" for quick soiling;
    priors is a table to use instead of the shipped one; on_progress(done, total) counts
    campaigns. ModelError where nothing can be fitted.
    """
    read = property_named(property).read_as
    found = gather(source, read, as_of, time=time, priors=priors)
    return fit_gathered(found, on_progress=on_progress).told_as(property)


def fit_gathered(
    found: Gathered,
    *,
    each: Each = side_by_side,
    on_progress: Callable[[int, int], None] | None = None,
) -> Fit:
    """Fit what was gathered; `each` does the work of every campaign, wherever that may be."""
    latest: dict[tuple[str, str], Series] = {}
    fitted, taught = _fit_all(found, each, on_progress)
    for one, its_posterior in fitted:
        for group, formulation in enumerate(one.formulations):
            key = (one.site, formulation)
            latest[key] = Series(*key, one, group, its_posterior)
    notes = found.notes + taught
    if len(latest) < sum(len(one.formulations) for one in found.campaigns):
        notes += ("a formulation exposed twice at a site is projected from its latest start",)
    series = tuple(latest.values())
    return Fit(found, series, notes)


def _fit_all(
    found: Gathered, each: Each, on_progress: Callable[[int, int], None] | None
) -> tuple[list[Fitted], tuple[str, ...]]:
    """Fit closed campaigns, then running ones with what those of their climate taught."""
    closed = closed_campaigns(found.campaigns, found.exposure.panels)
    running = [one for one in found.campaigns if all(one is not other for other in closed)]
    done = count(1)

    def fit_each(todo: Sequence[tuple[Campaign, Priors]]) -> Iterator[Fitted]:
        for (one, _), its in zip(todo, each(_posterior_of, todo), strict=True):
            if on_progress is not None:
                on_progress(next(done), len(found.campaigns))
            yield one, its

    fitted = list(fit_each([(one, found.priors(one)) for one in closed]))
    known, notes = {}, []
    for climate, one_of in {found.climate(one): one for one in running}.items():
        precedents = [its for one, its in fitted if found.climate(one) == climate]
        before = found.priors(one_of)
        known[climate] = own = learn(before, precedents)
        if precedents:
            notes.append(told(climate, before, own, len(precedents)))
    still = list(fit_each([(one, known[found.climate(one)]) for one in running]))
    still, told_of_past = stretched(found, fitted, still, each)
    notes += told_of_past
    return sorted(fitted + still, key=lambda pair: pair[0].exposed_on), tuple(notes)


def _posterior_of(pair: tuple[Campaign, Priors]) -> SitePosterior:
    return posterior(*pair, fitted=kept.fitted)


def project(
    source: str | Path | Exposure,
    months: float | Iterable[float] = 36.0,
    level: float = 0.90,
    as_of: str | pd.Timestamp | None = None,
    property: str = "solar_reflectance",  # noqa: A002 - the field's own word
    *,
    retention: bool = False,
    time: TimeAxis = "month",
    priors: str | Path | None = None,
) -> Projection:
    """Project a source; see `fit` for the source and options, `Fit.project` for the rest."""
    times = asked(months, level, property_named(property), retention=retention)
    fitted = fit(source, property, as_of, time=time, priors=priors)
    return fitted.project(times, level, retention=retention)
