"""Campaigns cut at a month of exposure: what was known then, and what was read later."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from aging.campaigns import Campaign
from aging.decay.site import Array, Index, SiteReadings
from aging.vocabulary import DAYS_PER_MONTH

HALF_A_MONTH = 0.5  # a visit planned for the month of the cut is known


@dataclass(frozen=True)
class Origin:
    """One campaign at one cut; G are the groups read by then.

    groups : (G,) their places in the campaign
    past : what was known, of these groups
    months, means : (V,), (G, V) unwashed visits known, and the means of the formulations there
    ahead, later : (M,), (G, M) the same of later visits; NaN where not read
    """

    campaign: Campaign
    cut: float
    groups: Index
    past: SiteReadings
    months: Array
    means: Array
    ahead: Array
    later: Array

    @property
    def day(self) -> pd.Timestamp:
        """The last day that is known."""
        months = self.cut + HALF_A_MONTH
        return self.campaign.exposed_on + pd.Timedelta(days=months * DAYS_PER_MONTH)


def origins(
    campaign: Campaign, cuts: Sequence[float], horizon: float | None = None
) -> Iterator[Origin]:
    """The campaign at each cut that leaves something known and something to forecast.

    Later visits more than `horizon` months after the cut are left out.
    """
    readings = campaign.readings
    unwashed = readings.washed == 0
    means = _means(readings)
    for cut in cuts:
        known = readings.months <= cut + HALF_A_MONTH
        ahead = unwashed & ~known & (readings.months - cut <= (horizon or np.inf))
        groups = np.flatnonzero((~np.isnan(means[:, known & unwashed])).any(axis=1))
        later = means[np.ix_(groups, ahead)]
        if (~np.isnan(later)).any():
            yield Origin(
                campaign, cut, groups, readings.visits(known).only_groups(groups),
                readings.months[known & unwashed], means[np.ix_(groups, known & unwashed)],
                readings.months[ahead], later,
            )  # fmt: skip


def _means(readings: SiteReadings) -> Array:
    """Mean over the panels of each group at each visit, (G, V); NaN where none was read."""
    read = ~np.isnan(readings.values)
    count = np.zeros((readings.groups, readings.months.size))
    total = np.zeros_like(count)
    np.add.at(count, readings.group, read.astype(float))
    np.add.at(total, readings.group, np.where(read, readings.values, 0.0))
    return np.divide(total, count, out=np.full_like(count, np.nan), where=count > 0)
