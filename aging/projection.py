"""What will the panels read? Campaigns through the model, to dated values with their intervals.

Target "state" is the mean of a formulation at a site on a day of average dryness; target "reading"
is the mean of its replicate panels as one later visit reads it, with the error that the visit
shares. Site "all" is the mean over the sites where the formulation is exposed. A projection is
not a rating.
"""

from __future__ import annotations

import os
import zlib
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from aging import cube as cubes
from aging.campaigns import Campaign, campaigns
from aging.decay.posterior import DRAWS, SitePosterior, fit_site
from aging.decay.priors import Priors, TimeUnit, priors_for
from aging.decay.site import Array, SiteReadings
from aging.errors import CallError, ModelError, require
from aging.precedent import closed_campaigns, learn, told
from aging.records import Exposure
from aging.source import open_source
from aging.standing import Standing, standing, together
from aging.vocabulary import DAYS_PER_MONTH, Property, property_named

ALL_SITES = "all"
TARGETS = ("state", "reading")
COLUMNS = (
    "site", "formulation", "property", "months", "target", "estimate", "lower", "upper", "level",
    "n_panels", "n_readings", "observed_months", "status", "notes",
)  # fmt: skip


@dataclass(frozen=True)
class Series:
    """One formulation at one site: its group in a fitted campaign."""

    site: str
    formulation: str
    campaign: Campaign
    group: int
    posterior: SitePosterior


@dataclass(frozen=True)
class Projection:
    """A tidy frame (COLUMNS), the priors behind it and plain notes on the whole."""

    frame: pd.DataFrame
    priors: pd.DataFrame
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Fit:
    """Fitted campaigns of one property: project from it as often as you like."""

    property: Property
    exposure: Exposure
    series: tuple[Series, ...]
    priors: Priors
    notes: tuple[str, ...]
    time_per_month: float

    def draws(self, months: Sequence[float]) -> dict[tuple[str, str], dict[str, Array]]:
        """Joint draws of each (site, formulation) and target, arrays (M, D); sites independent."""
        times = np.asarray(months, dtype=np.float64) * self.time_per_month
        fitted = {id(one.posterior): one.posterior for one in self.series}
        at = {key: dict(zip(TARGETS, post.at(times), strict=True)) for key, post in fitted.items()}
        return {
            (one.site, one.formulation): {
                target: at[id(one.posterior)][target][:, :, one.group] for target in TARGETS
            }
            for one in self.series
        }

    def standings(self, months: float) -> dict[tuple[str, str], Standing]:
        """How far the evidence of each (site, formulation) carries at a time."""
        return {
            (one.site, one.formulation): standing(
                one.campaign, one.group, months, self.time_per_month
            )
            for one in self.series
        }

    def project(self, months: float | Iterable[float] = 36.0, level: float = 0.90) -> Projection:
        """Project to one or more times (months exposed) with two-sided intervals at `level`."""
        times, tail = _times_and_tail(months, level)
        rows = []
        draws = self.draws(times)
        per_formulation = group_by_formulation(draws)
        for m, time in enumerate(times):
            known = self.standings(time)
            for formulation, sites in per_formulation.items():
                cases = [((site,), site) for site in sites] + [(tuple(sites), ALL_SITES)]
                for members, label in cases:
                    seen = together([known[site, formulation] for site in members])
                    for target in TARGETS:
                        value = sum(draws[s, formulation][target][m] for s in members)
                        mean = np.asarray(value) / len(members)
                        low, middle, high = np.quantile(mean, [tail, 0.5, 1 - tail])
                        rows.append((
                            label, formulation, self.property.name, time, target, middle, low, high,
                            level, seen.panels, seen.readings, seen.months, seen.status,
                            "; ".join(seen.notes),
                        ))  # fmt: skip
        frame = pd.DataFrame(rows, columns=list(COLUMNS))
        return Projection(frame, self.priors.table.reset_index(), self.notes)


def group_by_formulation(keys: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    """Sites of each formulation, both sorted."""
    found: dict[str, list[str]] = {}
    for site, formulation in sorted(keys, key=lambda key: (key[1], key[0])):
        found.setdefault(formulation, []).append(site)
    return found


def _times_and_tail(months: float | Iterable[float], level: float) -> tuple[list[float], float]:
    times = [float(m) for m in (months if isinstance(months, Iterable) else [months])]
    require(bool(times), "months", months, "at least one number")
    for time in times:
        require(0 <= time <= 240, "months", time, "0 to 240")  # noqa: PLR2004 - twenty years
    require(0 < level < 1, "level", level, "between 0 and 1, such as 0.90")
    return times, (1 - level) / 2


@dataclass(frozen=True)
class Gathered:
    """Campaigns of one property, with the priors they are to be fitted with."""

    property: Property
    exposure: Exposure
    campaigns: tuple[Campaign, ...]
    priors: Priors
    notes: tuple[str, ...]
    time_per_month: float

    def climate(self, campaign: Campaign) -> str:
        """Climate of a campaign's site, or the site itself where none is named."""
        climates = self.exposure.sites.set_index("site")["climate"].dropna()
        return str(climates.get(campaign.site, f"site {campaign.site}"))


def gather(
    source: str | Path | Exposure,
    property: str = "solar_reflectance",  # noqa: A002 - the field's own word
    as_of: str | pd.Timestamp | None = None,
    *,
    time: TimeUnit = "month",
    priors: str | Path | None = None,
) -> Gathered:
    """What `fit` fits; arguments and errors are its own."""
    prop = property_named(property)
    require(prop.scale != "ordinal", "property", property, "a ratio or interval scale, not ratings")
    moment = None if as_of is None else _moment(as_of)
    exposure = open_source(source)
    if moment is not None:
        exposure = cubes.known_at(exposure, moment)
    cube = cubes.build(exposure)
    per_month = DAYS_PER_MONTH if time == "day" else 1.0
    found = campaigns(cube, exposure.weather, prop.name, time_per_month=per_month)
    if not found:
        have = ", ".join(map(str, cube["property"].to_numpy())) or "none"
        raise ModelError(f"no unwashed readings of {prop.name} to fit; properties read: {have}")
    notes = tuple(text for text in (cube.attrs["notes"],) if text)
    return Gathered(prop, exposure, found, priors_for(prop, time, priors), notes, per_month)


def posterior(
    campaign: Campaign,
    priors: Priors,
    *,
    readings: SiteReadings | None = None,
    draws: int = DRAWS,
) -> SitePosterior:
    """Posterior of a campaign, or of part of its readings; the seed is the campaign's own."""
    given = campaign.readings if readings is None else readings
    with threadpool_limits(1, user_api="blas"):  # many small systems: threads only get in the way
        return fit_site(given, priors, draws=draws, seed=_seed(campaign))


def fit(
    source: str | Path | Exposure,
    property: str = "solar_reflectance",  # noqa: A002 - the field's own word
    as_of: str | pd.Timestamp | None = None,
    *,
    time: TimeUnit = "month",
    priors: str | Path | None = None,
) -> Fit:
    """Fit every campaign of a property in a folder, workbook, store or Exposure.

    as_of hides all later readings; time "day" takes priors per day (quick soiling); priors is a
    table to use instead of the shipped one. ModelError where nothing can be fitted.
    """
    found = gather(source, property, as_of, time=time, priors=priors)
    latest: dict[tuple[str, str], Series] = {}
    fitted, taught = _fit_all(found)
    for one, its_posterior in fitted:
        for group, formulation in enumerate(one.formulations):
            key = (one.site, formulation)
            latest[key] = Series(*key, one, group, its_posterior)
    notes = found.notes + taught
    if len(latest) < sum(len(one.formulations) for one in found.campaigns):
        notes += ("a formulation exposed twice at a site is projected from its latest start",)
    series = tuple(latest.values())
    return Fit(found.property, found.exposure, series, found.priors, notes, found.time_per_month)


def _fit_all(found: Gathered) -> tuple[list[tuple[Campaign, SitePosterior]], tuple[str, ...]]:
    """Fit closed campaigns, then running ones with what those of their climate taught."""
    closed = closed_campaigns(found.campaigns, found.exposure.panels)
    running = [one for one in found.campaigns if all(one is not other for other in closed)]
    fitted = _fit_each([(one, found.priors) for one in closed])
    known, notes = {}, []
    for climate in dict.fromkeys(map(found.climate, running)):
        precedents = [its for one, its in fitted if found.climate(one) == climate]
        known[climate] = own = learn(found.priors, precedents)
        if precedents:
            notes.append(told(climate, found.priors, own, len(precedents)))
    fitted += _fit_each([(one, known[found.climate(one)]) for one in running])
    return sorted(fitted, key=lambda pair: pair[0].exposed_on), tuple(notes)


def _fit_each(todo: Sequence[tuple[Campaign, Priors]]) -> list[tuple[Campaign, SitePosterior]]:
    """Posteriors side by side on the cores there are: numpy lets go of the interpreter."""
    with threadpool_limits(1, user_api="blas"), ThreadPoolExecutor(os.cpu_count()) as pool:
        return [
            (pair[0], its) for pair, its in zip(todo, pool.map(_posterior_of, todo), strict=True)
        ]


def _posterior_of(pair: tuple[Campaign, Priors]) -> SitePosterior:
    return posterior(*pair)


def _moment(as_of: str | pd.Timestamp) -> pd.Timestamp:
    try:
        return pd.Timestamp(as_of).tz_localize(None)
    except ValueError as error:
        raise CallError(f"as_of: {as_of!r} is not an ISO date such as 2026-03-31") from error


def _seed(campaign: Campaign) -> int:
    return zlib.crc32(f"{campaign.site}@{campaign.exposed_on:%Y-%m-%d}".encode())


def project(
    source: str | Path | Exposure,
    months: float | Iterable[float] = 36.0,
    level: float = 0.90,
    as_of: str | pd.Timestamp | None = None,
    property: str = "solar_reflectance",  # noqa: A002 - the field's own word
    **options: str | Path | None,
) -> Projection:
    """Project a source; see `fit` for the source and options, `Fit.project` for the rest."""
    return fit(source, property, as_of, **options).project(months, level)  # type: ignore[arg-type]
