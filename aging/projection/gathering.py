"""From a source to the campaigns of one property, with the priors they are to be fitted with."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
from threadpoolctl import threadpool_limits

from aging import cube as cubes
from aging.campaigns import Campaign, campaigns
from aging.decay.posterior import DRAWS, SitePosterior, fit_site
from aging.decay.priors import Priors, TimeUnit, priors_for
from aging.decay.site import SiteReadings
from aging.errors import CallError, ModelError, require
from aging.records import Exposure
from aging.source import open_source
from aging.vocabulary import DAYS_PER_MONTH, Property, property_named


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
) -> SitePosterior:
    """Posterior of a campaign, or of part of its readings; the seed is the campaign's own."""
    given = campaign.readings if readings is None else readings
    with threadpool_limits(1, user_api="blas"):  # many small systems: threads only get in the way
        return fit_site(given, priors, draws=draws, seed=_seed(campaign))


def _seed(campaign: Campaign) -> int:
    return zlib.crc32(f"{campaign.site}@{campaign.exposed_on:%Y-%m-%d}".encode())
