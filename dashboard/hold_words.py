"""What the product manager's first page says."""

from __future__ import annotations

import pandas as pd

from aging.claims.proposal import RETENTION
from aging.claims.watch import Watched
from aging.vocabulary import property_named
from dashboard.due_words import day
from dashboard.wording import number

WATCHING = "Holding every claim to the readings ..."
STATES = {
    "broken": "Broken",
    "at risk": "At risk",
    "cannot tell": "Cannot be told",
    "holds": "Hold",
}
NEEDS_STORE = "A claim is kept in a store; this dashboard shows files. Put them into a store:"
STORE_COMMANDS = "aging load FOLDER --store STORE\naging dashboard STORE"
NO_CLAIM = "No claim stands. The command `aging claim` proposes one and records it:"
CLAIM_COMMAND = "aging claim STORE FORMULATION --make"
DUE_HEADING, NUMBERS_HEADING = "What is due", "The same numbers"
COLUMNS = {
    "state": "State", "formulation": "Formulation", "quantity": "Claimed is", "months": "At month",
    "value": "Claimed", "now": "Now", "kind": "Now is", "failing": "Chance of failing, %",
    "breaks": "Broken by a next mean of",
}  # fmt: skip
DUE_COLUMNS = {
    "site": "Site", "formulations": "Claimed formulations", "due_on": "Visit due",
    "opens_on": "From", "months": "Months exposed",
}  # fmt: skip


def figure(value: float, name: str, *, sign: bool = False) -> str:
    """A value of a claim's property."""
    return number(value, property_named(name.removesuffix(RETENTION)), sign=sign)


def claimed(one: Watched) -> str:
    """What is claimed, in its own words."""
    return one.claim.wording


def judged(one: Watched) -> str:
    """Whether a claim holds, by how much, and what would break it."""
    name, what = one.claim.property, property_named(one.claim.property.removesuffix(RETENTION))
    read = not pd.isna(one.measured)
    kind = "measured" if read else "projected"
    text = f"{one.claim.formulation}: {one.state}, {one.why}."
    if one.claim.criterion or pd.isna(one.estimate):
        return text
    of = f"retention of {what.label.lower()}" if name.endswith(RETENTION) else what.label.lower()
    text += (
        f" Claimed {of} {figure(one.claim.value, name)} at {one.claim.months:g} months, now "
        f"{figure(one.estimate, name)} ({kind})."
    )
    if read or pd.isna(one.next_months):
        return text
    if pd.isna(one.breaks_at):
        return f"{text} No single next reading would change that."
    side = "above" if what.higher_is_better is False else "below"
    return (
        f"{text} Broken if the next mean, at {one.next_months:g} months, reads {side} "
        f"{figure(one.breaks_at, name)}: {one.sigmas:.1f} standard deviations away."
    )


def next_due(rows: pd.DataFrame) -> str:
    """The next visit that a claim waits for."""
    if rows.empty:
        return "No visit is planned at a site of a claim."
    row = rows.iloc[0]
    return f"Next reading for a claim: {row['site']}, due {day(row['due_on'])}."
