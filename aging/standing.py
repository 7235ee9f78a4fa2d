"""How far the evidence carries: status and plain notes of a projection."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from aging.campaigns import Campaign

Status = Literal["projected", "prior-driven", "cannot project", "already measured"]
WORST_FIRST: tuple[Status, ...] = (
    "cannot project", "prior-driven", "projected", "already measured",
)  # fmt: skip
MIN_VISITS = 5
MIN_MONTHS = 3.0
FULL_YEAR = 11.5
WINDOW_SHARE = 1 / 36  # a reading within a month of 36 is the 36-month reading


@dataclass(frozen=True)
class Standing:
    """Evidence behind one projected value."""

    status: Status
    panels: int
    readings: int
    months: float
    notes: tuple[str, ...]


def standing(campaign: Campaign, group: int, months: float, time_per_month: float) -> Standing:
    """Judge one group's evidence at a target time in months."""
    read = ~np.isnan(campaign.of_group(group))
    months_read = campaign.readings.months[campaign.readings.washed == 0]
    at = months_read[read.any(axis=0)] / time_per_month
    last = float(at.max())
    panels = int(read.any(axis=1).sum())
    notes = []
    measured = last >= months * (1 - WINDOW_SHARE)
    if measured:
        return Standing("already measured", panels, int(read.sum()), last, ())
    if panels < 3:  # noqa: PLR2004 - three replicates are the trade's least
        notes.append(f"only {panels} panel{'s' * (panels > 1)}")
    if at.size < MIN_VISITS:
        notes.append(f"only {at.size} visits: the prior carries the shape")
    if time_per_month == 1.0 and last < FULL_YEAR:
        notes.append("less than one year seen: a season is missing")
    if last > 0:
        notes.append(f"reaches {months / last:.1f} times the observed {last:.1f} months")
    few = at.size < MIN_VISITS or (time_per_month == 1.0 and last < MIN_MONTHS)
    status: Status = "prior-driven" if few else "projected"
    return Standing(status, panels, int(read.sum()), last, tuple(notes))


def together(members: Sequence[Standing]) -> Standing:
    """Standing of a mean over sites: as good as its weakest site."""
    if len(members) == 1:
        return members[0]
    status = min((one.status for one in members), key=WORST_FIRST.index)
    notes = dict.fromkeys(note for one in members for note in one.notes)
    return Standing(
        status,
        sum(one.panels for one in members),
        sum(one.readings for one in members),
        min(one.months for one in members),
        (f"mean of {len(members)} sites", *notes),
    )
