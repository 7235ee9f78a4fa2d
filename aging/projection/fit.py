"""What will the panels read? Campaigns through the model, to dated values with their intervals.

Target "state" is the mean of a formulation at a site on a day of average dryness; target "reading"
is the mean of its replicate panels as one later visit reads it, with the error that the visit
shares. Site "all" is the mean over the sites where the formulation is exposed. A projection is
not a rating.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from aging.campaigns import Campaign
from aging.decay.posterior import SitePosterior
from aging.decay.site import Array
from aging.errors import require
from aging.projection.gathering import Gathered
from aging.records import Exposure
from aging.standing import Standing, standing, together
from aging.vocabulary import Property

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

    gathered: Gathered
    series: tuple[Series, ...]
    notes: tuple[str, ...]

    @property
    def exposure(self) -> Exposure:
        """The facts behind the fit."""
        return self.gathered.exposure

    @property
    def measured(self) -> Property:
        """The property that was fitted."""
        return self.gathered.property

    def draws(self, months: Sequence[float]) -> dict[tuple[str, str], dict[str, Array]]:
        """Joint draws of each (site, formulation) and target, arrays (M, D); sites independent."""
        times = np.asarray(months, dtype=np.float64) * self.gathered.time_per_month
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
                one.campaign, one.group, months, self.gathered.time_per_month
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
                            label, formulation, self.measured.name, time, target, middle, low, high,
                            level, seen.panels, seen.readings, seen.months, seen.status,
                            "; ".join(seen.notes),
                        ))  # fmt: skip
        frame = pd.DataFrame(rows, columns=list(COLUMNS))
        return Projection(frame, self.gathered.priors.table.reset_index(), self.notes)


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
