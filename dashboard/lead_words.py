"""What the formulator's first page says."""

from __future__ import annotations

import pandas as pd

from aging.charts import quantity_within
from aging.comparison.lead import Lead
from aging.vocabulary import Property
from dashboard.wording import ALREADY, chance, interval, measured, number, percent

BEST = "Chance of being the best"
AHEAD = "Ahead of the control, {kind}: {quantity}"
COMPARE_IT = "Compare them site by site"
COLUMNS = {
    "formulation": "Formulation", "chance": "Chance of being the best, %",
    "estimate": "Ahead of the control", "lower": "From", "upper": "To", "status": "Status",
    "n_panels": "Panels",
}  # fmt: skip
NO_LEADER = "No formulation is left to rank: all fail another property."
NOT_RANKED = "Not ranked, as they fail another property: {names}."
IT_IS = "it is the control"
ALONE = "There is no second to set it against."


def kind(lead: Lead) -> str:
    """Whether a lead is read or projected."""
    return "measured" if lead.status == ALREADY else "projected"


def trial(lead: Lead) -> str:
    """The heading of a trial, free of names that people gave."""
    return "Read to the end" if lead.status == ALREADY else f"Read to {lead.read:.1f} months"


def ahead(lead: Lead, prop: Property) -> str:
    """The label of the difference to the control: its kind and unit."""
    return AHEAD.format(kind=kind(lead), quantity=quantity_within(prop))


def against_control(row: pd.Series, prop: Property) -> str:
    """The difference to the control with its interval."""
    if pd.isna(row["estimate"]):
        return IT_IS
    value = number(row["estimate"], prop, sign=True)
    return f"{value} ({interval(row, prop, sign=True)})"


def leading(lead: Lead, row: pd.Series, prop: Property, months: float) -> str:
    """Who leads, how surely, how far ahead of the control."""
    chances = zip(lead.chances["formulation"], lead.chances["probability"], strict=True)
    told = [f"{name} {chance(share)}" for name, share in chances]
    text = (
        f"{row['formulation']} leads in {prop.within} at {months:g} months ({kind(lead)}, "
        f"mean over {', '.join(lead.sites)}). Chance of being the best: {', '.join(told[:3])}."
    )
    if pd.isna(row["estimate"]):
        return text
    return f"{text} Its control is {row['against']}; {percent(row['level'])} intervals."


def decision(lead: Lead, prop: Property, months: float) -> str:
    """Whether first and second are told apart, or by when they would be."""
    if pd.isna(lead.gap):
        return ALONE
    ends = " to ".join(number(one, prop, sign=True) for one in (lead.lower, lead.upper))
    second = lead.chances["formulation"].iloc[1]
    gap = f"{second}: {measured(lead.gap, prop, sign=True)} ({ends})"
    if lead.told:
        return f"Decided: it is told from the second, {gap}."
    if lead.status == ALREADY:
        return f"Read to the end and not told from the second, {gap}. Count both as leading."
    if pd.isna(lead.told_by):
        return (
            f"Not told from the second, {gap}. So small a difference is not expected to show by "
            f"{months:g} months: count both as leading, or let the price decide."
        )
    return (
        f"Not told from the second yet, {gap}. A true difference as large shows with a chance of "
        f"80 % once read to {lead.told_by:g} months; now it is {lead.read:.1f}."
    )


def ordered(rows: pd.DataFrame, prop: Property) -> str:
    """The statement above the chart of differences."""
    ahead = int((rows["joint_lower"] > 0).sum() if prop.higher_is_better is not False
                else (rows["joint_upper"] < 0).sum())  # fmt: skip
    return (
        f"{ahead} of {len(rows)} are better than the control {rows['against'].iloc[0]}, by "
        f"{percent(rows['level'].iloc[0])} intervals that hold all at once."
    )
