"""Readings of one campaign at one site, as arrays.

A campaign is a set of panels exposed together at a site; a group is one formulation in it.
A visit is one day on which panels of the campaign were read.
"""

from __future__ import annotations

from dataclasses import dataclass
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
    months : (V,) exposure time at each visit, ascending, months (or any other unit of the priors)
    dryness : (V,) soiling state of the visit minus the site's average, or zeros
    dryness_sd : its spread from day to day at the site
    """

    values: Array
    group: Index
    months: Array
    dryness: Array
    dryness_sd: float = 0.0

    def __post_init__(self) -> None:
        panels, visits = self.values.shape
        if self.group.shape != (panels,) or self.months.shape != (visits,):
            raise CallError(
                "values must be panels x visits, with one group a panel, one month a visit"
            )
        if visits and (np.diff(self.months) <= 0).any():
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
