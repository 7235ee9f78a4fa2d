"""Joint draws of one figure for every formulation at every site, and their differences.

Formulations of one campaign hang side by side and share each visit's weather, set-up and operator,
so that this error cancels in their difference; formulations of different campaigns met different
weather and are never compared. Sites are independent.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from aging.decay.site import Array
from aging.errors import require
from aging.projection import Fit

Key = tuple[str, str]  # site, formulation
NODES = 12  # of Gauss and Legendre: within 0.0005 of a mean over three years taken day by day


@dataclass(frozen=True)
class Joint:
    """Draws (D,) of a figure by (site, formulation), and the campaign that each hangs in."""

    drawn: Mapping[Key, Array]
    campaign: Mapping[Key, int]

    @cached_property
    def sites(self) -> tuple[str, ...]:
        """Every site, in the order of the draws."""
        return tuple(dict.fromkeys(site for site, _ in self.drawn))

    @cached_property
    def trials(self) -> dict[str, str]:
        """A name for the trial of each formulation: all that met in a campaign, linked on."""
        met: dict[int, set[str]] = {}
        for (_, formulation), number in self.campaign.items():
            met.setdefault(number, set()).add(formulation)
        trial = {one: one for each in met.values() for one in each}
        for _ in met:  # each pass links at least one campaign more
            for each in met.values():
                trial |= dict.fromkeys(each, min(trial[one] for one in each))
        return trial

    def of(self, site: str, formulation: str) -> Array:
        """Draws (D,) of one series."""
        return self.drawn[site, formulation]

    def shared(self, formulation: str, other: str) -> tuple[str, ...]:
        """Sites where both hang in one campaign."""
        return tuple(
            site for site in self.sites
            if (number := self.campaign.get((site, formulation))) is not None
            and number == self.campaign.get((site, other))
        )  # fmt: skip

    def gaps(self, formulation: str, other: str) -> dict[str, Array]:
        """Draws of formulation minus other, at each site where both hang in one campaign."""
        return {
            site: self.drawn[site, formulation] - self.drawn[site, other]
            for site in self.shared(formulation, other)
        }

    def mean_of(self, formulations: Iterable[str], sites: Sequence[str]) -> Array:
        """Mean over sites (F, D) of formulations that hang at each of them."""
        return np.stack([
            np.mean([self.drawn[site, one] for site in sites], axis=0) for one in formulations
        ])  # fmt: skip

    def over_sites(self, formulations: Iterable[str]) -> tuple[tuple[str, ...], Array]:
        """Sites that all of the formulations share, and the mean over them, (F, D)."""
        each = list(formulations)
        sites = tuple(
            sorted({
                site for site, _ in self.drawn
                if len({self.campaign.get((site, one)) for one in each}) == 1
                and (site, each[0]) in self.drawn
            })
        )  # fmt: skip
        require(bool(sites), "formulations", ", ".join(each), "some that share a site and campaign")
        return sites, self.mean_of(each, sites)


def at(fitted: Fit, months: float, target: str = "state") -> Joint:
    """A target ("state" or "reading") at one time."""
    drawn = fitted.draws([months])
    return Joint({key: each[target][0] for key, each in drawn.items()}, campaigns(fitted))


def mean_over(fitted: Fit, start: float, end: float) -> Joint:
    """Mean of the state from one time to another, which is what a roof lives through."""
    require(0 <= start < end, "period", (start, end), "two ascending months, 0 or more")
    node, weight = np.polynomial.legendre.leggauss(NODES)
    total: dict[Key, Array] = {}
    for month, share in zip((start + end + (end - start) * node) / 2, weight / 2, strict=True):
        for key, each in fitted.draws([float(month)]).items():
            total[key] = total.get(key, 0.0) + share * each["state"][0]
    return Joint(total, campaigns(fitted))


def campaigns(fitted: Fit) -> dict[Key, int]:
    """A number for the campaign of each series."""
    known = {id(one.posterior): number for number, one in enumerate(fitted.series)}
    return {(one.site, one.formulation): known[id(one.posterior)] for one in fitted.series}
