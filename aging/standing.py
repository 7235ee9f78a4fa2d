"""How far the evidence carries: status and plain notes of a projection.

A season counts as seen once its middle month is past. Winter: December to February, or June to
August in the south, outside the tropics. Wet season: the wettest three months in a row of the
site's own rain record, where they get half more than an even share.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd

from aging.campaigns import Campaign
from aging.decay.nodes import EDGE
from aging.decay.posterior import SitePosterior
from aging.decay.site import Array
from aging.vocabulary import DAYS_PER_MONTH, Property

Status = Literal["projected", "prior-driven", "cannot project", "already measured"]
WORST_FIRST: tuple[Status, ...] = (
    "cannot project", "prior-driven", "projected", "already measured",
)  # fmt: skip
CANNOT = WORST_FIRST[0]
Course = Callable[[SitePosterior, float, float], tuple[str, ...]]
MIN_VISITS = 5
MIN_MONTHS = 3.0
FULL_YEAR = 11.5
WINDOW_SHARE = 1 / 36  # a reading within a month of 36 is the 36-month reading
MIN_SPAN = 0.1  # of the priors' unit of time, from the first to the last visit
NEW = 1.0  # months: read by then, a panel was read when new
PLATEAU = 0.78  # of the fast loss, seen after 1.5 time constants
BOUND, LEANING = 0.2, 0.2  # prior standard deviations from the edge; share of the weight there
WIDE = 0.5  # of the usual band
TROPIC_DEG = 23.5
EARLY = "about {} % of the fast loss was seen: read on, where it levels off is partly assumed"
AT_EDGE = (
    "the speed of the loss is at the edge of what is assumed: look at the readings beside the curve"
)
SHORT = "less than a year read: not every season was seen, so expect the projection to move"
NO_TIME = "no time between its first and last reading: read again before anything is projected"
WET, YEAR_DAYS, MONTHS_A_YEAR = 1.5, 365, 12


@dataclass(frozen=True)
class Standing:
    """Evidence behind one projected value."""

    status: Status
    panels: int
    readings: int
    months: float
    notes: tuple[str, ...]


def standing(
    campaign: Campaign,
    group: int,
    months: float,
    *,
    posterior: SitePosterior,
    seasons: Mapping[str, int],
    course: Course | None = None,
) -> Standing:
    """Judge one group's evidence at a target time in months; `seasons` as from `seasons_of`.

    course: `course_notes`, or what remembers its answers over the groups of a campaign.
    """
    read = ~np.isnan(campaign.of_group(group))
    at = campaign.months[campaign.readings.washed == 0][read.any(axis=0)]
    panels, first, seen = int(read.any(axis=1).sum()), float(at[0]), float(at[-1])
    start, last, target = campaign.clock.at([first, seen, months])

    def judged(status: Status, *notes: str) -> Standing:
        return Standing(status, panels, int(read.sum()), seen, notes)

    if seen >= months * (1 - WINDOW_SHARE):
        return judged("already measured")
    if last - start < MIN_SPAN:
        return judged(CANNOT, NO_TIME)
    slow = posterior.priors.time == "month"  # years of weathering, not days of dust
    scarce = at.size < MIN_VISITS or (slow and seen < MIN_MONTHS)
    notes = [
        *_thin(panels, int(at.size), first),
        *([SHORT] if slow and seen < FULL_YEAR else []),
        *_ahead(seasons, campaign.exposed_on, seen, months),
        *(course or course_notes)(posterior, last, target),
        f"it looks {months / seen:.1f} times as far as was read: each further visit narrows it",
    ]
    return judged("prior-driven" if scarce else "projected", *notes)


def _thin(panels: int, visits: int, first: float) -> Iterator[str]:
    if panels < 3:  # noqa: PLR2004 - three replicates are the trade's least
        yield f"only {panels} panel{'s' * (panels > 1)}: an odd one weighs much, so hang 3 or more"
    if visits < MIN_VISITS:
        yield f"only {visits} visits: the shape of the curve is assumed until {MIN_VISITS} are read"
    if first > NEW:
        yield f"first read at month {first:.1f}: the value when new is assumed, so read new panels"


def _ahead(
    seasons: Mapping[str, int], start: pd.Timestamp, seen: float, months: float
) -> Iterator[str]:
    """More than one winter or wet season between the last reading and the target."""
    day = pd.Timedelta(days=DAYS_PER_MONTH)
    last, target = start + seen * day, start + months * day
    years = range(last.year, target.year + 1)
    missing = {
        name: sum(last < pd.Timestamp(year, middle, 15) <= target for year in years)
        for name, middle in seasons.items()
    }
    told = [f"{count} {name}s" for name, count in missing.items() if count > 1]
    if told:
        yield f"{' and '.join(told)} are still to come, their losses unseen: read after each"


def course_notes(posterior: SitePosterior, last: float, target: float) -> tuple[str, ...]:
    """How much of the fast loss was seen, and whether the rate ran into its prior."""
    phi = posterior.grid.curve(np.array([last, target]))[0][posterior.node]
    share = float((phi[:, 0] / phi[:, 1]).mean())
    from_centre = np.abs(posterior.grid.at)[posterior.node]
    at_edge = (from_centre > EDGE - BOUND).mean() > LEANING
    return (
        *([EARLY.format(5 * round(20 * share))] if share < PLATEAU else []),
        *([AT_EDGE] if at_edge else []),
    )


def usual_width(draws: Array) -> Array:
    """Width of the 90 % interval of draws (..., D), which `narrow_enough` judges."""
    low, high = np.quantile(draws, [0.05, 0.95], axis=-1)
    return np.asarray(high - low)


def narrow_enough(known: Standing, width: float, prop: Property) -> Standing:
    """The same standing, or "cannot project" where an interval so wide tells less than is usual."""
    judged = known.status not in {CANNOT, "already measured"}
    if not judged or width <= WIDE * (prop.usual_high - prop.usual_low):
        return known
    span = f"{width:.{prop.decimals}f}"
    reason = f"its 90 % interval would span {span}, more than half of the usual band: read on"
    return replace(known, status=CANNOT, notes=(reason, *known.notes))


def seasons_of(latitude_deg: float, weather: pd.DataFrame) -> dict[str, int]:
    """Middle month (1 to 12) of a site's winter and wet season, where it is known to have one.

    weather: the site's days (date, rain_mm). Nothing is said of rain known for less than a year.
    """
    found = {}
    if abs(latitude_deg) > TROPIC_DEG:
        found["winter"] = 1 if latitude_deg > 0 else 7
    known = weather[["date", "rain_mm"]].dropna()
    rain = known["rain_mm"].groupby(known["date"].str.slice(5, 7).astype(int)).mean()
    if len(known) >= YEAR_DAYS and rain.size == MONTHS_A_YEAR:
        three = rain.to_numpy() + np.roll(rain, 1) + np.roll(rain, -1)
        if three.max() > WET * 3 * rain.mean():
            found["wet season"] = int(three.argmax()) + 1
    return found


def together(members: Mapping[str, Standing]) -> Standing:
    """Standing of a mean over sites, by site: as good as its weakest; notes name their sites."""
    seen = tuple(members.values())
    if len(seen) == 1:
        return seen[0]
    of_note: dict[str, list[str]] = {}
    for site, one in members.items():
        for note in one.notes:
            of_note.setdefault(note, []).append(site)
    notes = (
        note if len(sites) == len(seen) else f"{', '.join(sites)}: {note}"
        for note, sites in of_note.items()
    )  # fmt: skip
    return Standing(
        min((one.status for one in seen), key=WORST_FIRST.index),
        sum(one.panels for one in seen),
        sum(one.readings for one in seen),
        min(one.months for one in seen),
        (f"mean of {len(seen)} sites", *notes),
    )
