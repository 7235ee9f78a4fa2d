"""What will the panels read? Campaigns through the model, to dated values with their intervals.

Target "state" is the mean of a formulation at a site on a day of average dryness; target "reading"
is the mean of its replicate panels as one later visit reads it, with the error that the visit
shares. Site "all" is the mean over the sites where the formulation is exposed. A projection is
not a rating.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import product
from typing import Any

import numpy as np
import pandas as pd

from aging.campaigns import Campaign
from aging.decay.posterior import SitePosterior
from aging.decay.priors import Priors
from aging.decay.site import Array
from aging.errors import require
from aging.optics.heat import Wind
from aging.projection.balance import Balance, balance
from aging.projection.gathering import Gathered
from aging.projection.states import Shown, aged, held, lost, retained, tails
from aging.records import Exposure
from aging.standing import (
    CANNOT,
    Standing,
    course_notes,
    narrow_enough,
    standing,
    together,
    usual_width,
)
from aging.vocabulary import Property, property_named

ALL_SITES = "all"
TARGETS = ("state", "reading")
COLUMNS = (
    "site", "formulation", "property", "months", "target", "estimate", "lower", "upper",
    "one_sided_bound", "level", "n_panels", "n_readings", "observed_months", "status", "notes",
)  # fmt: skip
LOSS_COLUMNS = (
    "site", "formulation", "property", "months", "part", "estimate", "lower", "upper", "level",
    "informed", "status", "notes",
)  # fmt: skip
AT_ONCE = 500  # series times months whose draws are held at once
NOT_WASHED = "never read washed: what washing gives back is the prior's"
Key = tuple[str, str]  # site, formulation
Row = dict[str, Any]


@dataclass(frozen=True)
class Series:
    """One formulation at one site: its group in a fitted campaign."""

    site: str
    formulation: str
    campaign: Campaign
    group: int
    posterior: SitePosterior

    @property
    def washed(self) -> bool:
        """Whether any of its panels was read washed."""
        site = self.posterior.site
        rows = site.values[site.group == self.group]  # noqa: PD011 - an array, not a frame
        return bool((~np.isnan(rows[:, site.washed == 1])).any())


def _part(together: Sequence[Series]) -> Iterator[Series]:
    """Some series of one campaign, as if it had no others."""
    first = together[0]
    whole, places = first.campaign, np.array(sorted(one.group for one in together))
    mine = np.flatnonzero(np.isin(whole.readings.group, places))
    campaign = replace(
        whole, formulations=tuple(whole.formulations[place] for place in places),
        panels=tuple(whole.panels[place] for place in mine),
        readings=whole.readings.only_groups(places),
    )  # fmt: skip
    posterior = first.posterior.only_groups(places)
    for one in together:
        group = int(np.searchsorted(places, one.group))
        yield replace(one, campaign=campaign, group=group, posterior=posterior)


@dataclass(frozen=True)
class Projection:
    """A tidy frame (COLUMNS or LOSS_COLUMNS), the priors behind it, plain notes on the whole."""

    frame: pd.DataFrame
    priors: pd.DataFrame
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Fit:
    """Fitted campaigns of one property: project from it as often as you like.

    balance: what turns the fitted property into the derived one that is told, if one is.
    """

    gathered: Gathered
    series: tuple[Series, ...]
    notes: tuple[str, ...]
    balance: Balance | None = None

    @property
    def exposure(self) -> Exposure:
        """The facts behind the fit."""
        return self.gathered.exposure

    @property
    def measured(self) -> Property:
        """The property that is told: the fitted one, or what is derived from it."""
        return self.gathered.property if self.balance is None else self.balance.quantity

    def told_as(self, name: str, wind: Wind = "medium") -> Fit:
        """The same fit, told as a property derived from the fitted one, draw by draw.

        CallError where it is not derived from that.
        """
        if name == self.measured.name:
            return self
        prop, own = property_named(name), self.measured.name
        require(prop.derived_from == own, "property", name, f"{own}, or what is derived from it")
        made = balance(prop, wind, self.exposure, {one.formulation for one in self.series})
        return replace(self, balance=made, notes=(*self.notes, *made.notes))

    def only(self, formulations: Collection[str]) -> Fit:
        """The series of some formulations alone: quicker to project from, to the same values.

        Shares and differences are made of the whole.
        """
        parts: dict[int, list[Series]] = {}
        for one in self.series:
            if one.formulation in formulations:
                parts.setdefault(id(one.posterior), []).append(one)
        return replace(self, series=tuple(one for each in parts.values() for one in _part(each)))

    def as_read(self) -> Fit:
        """The same fit, where it tells what was fitted; CallError where a derived property."""
        told = self.measured
        require(self.balance is None, "property", told.name, f"one that is read: {told.read_as}")
        return self

    def shown(self, formulations: Sequence[str]) -> Shown:
        """What turns draws (..., D, G) of these formulations into values of what is told."""
        within = partial(held, prop=self.gathered.property)
        if (own := self.balance) is None:
            return within
        return lambda draws: own.of(within(draws), formulations)

    def of_readings(self, values: Array, formulations: Sequence[str]) -> Array:
        """Readings (N,) of the fitted property as values of what is told."""
        return values if self.balance is None else self.balance.of_readings(values, formulations)

    def tails(self, level: float, priors: Priors | None) -> list[float]:
        """Where the ends of an interval stand among the draws: at one site as its priors ask.

        None for a mean over sites or a loss, which keep the usual ones.
        """
        if priors is None:
            return tails(level)
        sides = {self.measured.higher_is_better, self.gathered.property.higher_is_better}
        return tails(level, priors.value("upper_half"), turned=sides == {True, False})

    def priors_of(self, members: Sequence[Key]) -> Priors | None:
        """Priors of the one site that a row tells of; None where it is a mean over sites."""
        return self._series[members[0]].posterior.priors if len(members) == 1 else None

    @cached_property
    def _series(self) -> dict[Key, Series]:
        return {(one.site, one.formulation): one for one in self.series}

    @cached_property
    def _washed(self) -> dict[Key, bool]:
        return {(one.site, one.formulation): one.washed for one in self.series}

    def draws(
        self, months: Sequence[float], *, retention: bool = False
    ) -> dict[Key, dict[str, Array]]:
        """Joint draws of each (site, formulation) and target, arrays (M, D); sites independent."""
        ratio = partial(retained, least=self.measured.step)
        return self._draws(months, ratio if retention else aged)

    def _draws(
        self, months: Sequence[float], of: Callable[..., dict[str, Array]]
    ) -> dict[Key, dict[str, Array]]:
        each = {id(one.posterior): one for one in self.series}
        found = {
            key: of(
                one.posterior, one.campaign.clock.at(months), self.shown(one.campaign.formulations)
            )
            for key, one in each.items()
        }
        return {
            (one.site, one.formulation): {
                name: values[:, :, one.group] for name, values in found[id(one.posterior)].items()
            }
            for one in self.series
        }

    def standings(self, months: float) -> dict[Key, Standing]:
        """How far the evidence of each (site, formulation) carries at a time."""
        told: dict[tuple[int, float, float], tuple[str, ...]] = {}

        def course(posterior: SitePosterior, last: float, target: float) -> tuple[str, ...]:
            key = id(posterior), last, target
            if key not in told:
                told[key] = course_notes(posterior, last, target)
            return told[key]

        return {
            (one.site, one.formulation): standing(
                one.campaign, one.group, months, posterior=one.posterior,
                seasons=self.gathered.seasons[one.site], course=course,
            )
            for one in self.series
        }  # fmt: skip

    def project(
        self,
        months: float | Iterable[float] = 36.0,
        level: float | Sequence[float] = 0.90,
        *,
        retention: bool = False,
    ) -> Projection:
        """Project to one or more times (months exposed), with intervals that hold with `level`.

        Several levels share the draws: rows of each time at the first level, then at the next.
        retention: aged over initial, a ratio made draw by draw, instead of the value itself.
        """
        times = asked(months, level, self.measured, retention=retention)
        rows: list[Row] = []
        at_once = max(1, AT_ONCE // max(len(self.series), 1))
        for start in range(0, len(times), at_once):
            part = times[start : start + at_once]
            states = self.draws(part)
            shown = self.draws(part, retention=True) if retention else states
            rows += self._rows("target", part, level, self._known(part, states), shown)
        return self._projection(rows, COLUMNS, " retention" if retention else "")

    def losses(self, months: float | Iterable[float] = 36.0, level: float = 0.90) -> Projection:
        """Loss of state since new, in the property's unit, and what washing would give back of it.

        LOSS_COLUMNS; part is total, removable or permanent; informed: whether washed readings of
        the formulation stand behind the two parts.
        """
        rows: list[Row] = []
        for time in asked(months, level, self.measured):
            (known,) = self._known([time], self.draws([time]))
            told = {
                key: seen if self._washed[key] else replace(seen, notes=(*seen.notes, NOT_WASHED))
                for key, seen in known.items()
            }
            rows += self._rows("part", [time], level, [told], self._draws([time], lost))
        return self._projection(rows, LOSS_COLUMNS, " loss")

    def _known(
        self, times: Sequence[float], states: Mapping[Key, Mapping[str, Array]]
    ) -> list[dict[Key, Standing]]:
        """Standings at each time, given the draws at all of them."""
        widths = usual_width(np.stack([each["state"] for each in states.values()], axis=1))
        return [
            {
                key: narrow_enough(seen[key], width, self.measured)
                for key, width in zip(states, its, strict=True)
            }
            for seen, its in zip(map(self.standings, times), widths, strict=True)
        ]

    def _rows(
        self,
        label: str,
        times: Sequence[float],
        level: float | Sequence[float],
        known: Sequence[Mapping[Key, Standing]],
        draws: Mapping[Key, Mapping[str, Array]],
    ) -> Iterator[Row]:
        """A row for each time, level, site or mean over sites, and each name in `draws`."""
        worse_is_up = self.measured.higher_is_better is False
        levels = np.atleast_1d(level).tolist()
        found = list(cases(draws))
        informed = [all(self._washed[one] for one in members) for _, members in found]

        def shares(members: Sequence[Key]) -> list[list[float]]:
            own = self.priors_of(members) if label == "target" else None
            return [[*self.tails(one, own), one if worse_is_up else 1 - one] for one in levels]

        figures = {
            name: [
                np.quantile(
                    np.mean([draws[one][name] for one in members], axis=0), shares(members), axis=1
                )
                for _, members in found
            ]
            for name in draws[next(iter(draws))]
        }  # cases, each: levels, ends, times
        for at, time in enumerate(times):
            seen = [together({one[0]: known[at][one] for one in members}) for _, members in found]
            for (nth, its_level), (place, (site, members)) in product(
                enumerate(levels), enumerate(found)
            ):
                its = seen[place]
                for name, values in figures.items():
                    told = [np.nan] * 4 if its.status == CANNOT else values[place][nth, :, at]
                    lower, estimate, upper, bound = told
                    yield {
                        "site": site, "formulation": members[0][1], "months": time, label: name,
                        "estimate": estimate, "lower": lower, "upper": upper,
                        "one_sided_bound": bound, "level": its_level, "n_panels": its.panels,
                        "n_readings": its.readings, "observed_months": its.months,
                        "informed": informed[place],
                        "status": its.status, "notes": "; ".join(its.notes),
                    }  # fmt: skip

    def _projection(self, rows: list[Row], columns: Sequence[str], suffix: str) -> Projection:
        frame = pd.DataFrame(rows).assign(property=self.measured.name + suffix)[list(columns)]
        return Projection(frame, self.gathered.prior_table(), self.notes)


def group_by_formulation(keys: Iterable[Key]) -> dict[str, list[str]]:
    """Sites of each formulation, both sorted."""
    found: dict[str, list[str]] = {}
    for site, formulation in sorted(keys, key=lambda key: (key[1], key[0])):
        found.setdefault(formulation, []).append(site)
    return found


def cases(keys: Iterable[Key]) -> Iterator[tuple[str, list[Key]]]:
    """Each row of a projection: its site or "all", and the series that it is the mean of."""
    for formulation, sites in group_by_formulation(keys).items():
        every = [(site, formulation) for site in sites]
        yield from ((site, [(site, formulation)]) for site in sites)
        yield ALL_SITES, every


def asked(
    months: float | Iterable[float],
    level: float | Sequence[float],
    prop: Property,
    *,
    retention: bool = False,
) -> list[float]:
    """The months asked for; CallError where they, the level or a retention cannot be had."""
    times = [float(m) for m in (months if isinstance(months, Iterable) else [months])]
    require(bool(times), "months", months, "at least one number")
    for time in times:
        require(0 <= time <= 240, "months", time, "0 to 240")  # noqa: PLR2004 - twenty years
    for one in np.atleast_1d(level).tolist():
        require(0 < one < 1, "level", one, "between 0 and 1, such as 0.90")
    ratio = "properties on a ratio scale; on an interval scale a share of the start means nothing"
    require(prop.scale == "ratio" or not retention, "retention of", prop.name, ratio)
    return times
