"""Readings of one campaign at one site, as arrays.

A campaign is a set of panels exposed together at a site; a group is one formulation in it.
A visit is one round in which panels of the campaign were read; a round in which panels were also
washed and read again is a visit of its own, marked as washed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from aging.errors import CallError

Array = npt.NDArray[np.floating[Any]]
Index = npt.NDArray[np.int64]


@dataclass(frozen=True)
class SiteReadings:
    """What was read.

    values : (P, V) reading of panel p at visit v, NaN where not read
    group : (P,) group of each panel, 0..G-1, each used
    months : (V,) exposure time at each visit, ascending, months (or the priors' unit of time)
    dryness : (V,) soiling state of the visit minus the site's average, or zeros
    washed : (V,) 1 where the panels were washed before reading, or zeros
    error : (V,) standard error that the readings of a visit carry beyond the residual, or zeros
    dryness_sd : spread of the soiling state from day to day at the site
    offset : (V, V) covariance of what the instrument's offset may still be, None where not checked
    """

    values: Array
    group: Index
    months: Array
    dryness: Array
    washed: Array
    error: Array
    dryness_sd: float = 0.0
    offset: Array | None = None

    def __post_init__(self) -> None:
        panels, visits = self.values.shape
        rows = (self.months, self.dryness, self.washed, self.error)
        if self.group.shape != (panels,) or any(row.shape != (visits,) for row in rows):
            raise CallError("values must be panels x visits, one group a panel, one month a visit")
        if self.offset is not None and self.offset.shape != (visits, visits):
            raise CallError("the offset's covariance must be visits x visits")
        if (np.diff(self.months[self.washed == 0]) <= 0).any():
            raise CallError("visits must stand in ascending order of exposure time")
        if np.unique(self.group).size != self.groups:
            raise CallError("every group needs at least one panel")

    @property
    def groups(self) -> int:
        """How many groups."""
        return int(self.group.max(initial=-1)) + 1

    @property
    def panels(self) -> Index:
        """Panels of each group, (G,)."""
        return np.bincount(self.group)

    @property
    def last(self) -> float:
        """Exposure time at the last unwashed visit."""
        return float(self.months[self.washed == 0].max(initial=0.0))

    def visits(self, keep: npt.NDArray[np.bool_]) -> SiteReadings:
        """The same campaign with only the visits where `keep` (V,) is true."""
        offset = None if self.offset is None else self.offset[np.ix_(keep, keep)]
        return SiteReadings(
            self.values[:, keep], self.group, self.months[keep], self.dryness[keep],
            self.washed[keep], self.error[keep], self.dryness_sd, offset,
        )  # fmt: skip

    def only_groups(self, keep: Index) -> SiteReadings:
        """The same campaign with only the groups listed in `keep`, ascending."""
        mine = np.isin(self.group, keep)
        return replace(
            self, values=self.values[mine], group=np.searchsorted(keep, self.group[mine])
        )


def site_readings(
    values: Array,
    group: Index,
    months: Array,
    *,
    dryness: Array | None = None,
    washed: Array | None = None,
    error: Array | None = None,
    dryness_sd: float = 0.0,
    offset: Array | None = None,
) -> SiteReadings:
    """Readings with zeros for what is not known."""
    none = np.zeros(months.size)
    dry, wash, wrong = (none if row is None else row for row in (dryness, washed, error))
    return SiteReadings(values, group, months, dry, wash, wrong, dryness_sd, offset)
