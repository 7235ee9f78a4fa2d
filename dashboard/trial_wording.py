"""Every sentence of the pages that compare formulations and additives."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping
from typing import Any

import pandas as pd

from aging.charts import quantity, quantity_within, unit_after
from aging.comparison.dose import DoseResponse
from aging.comparison.poolability import APART, BATCHES, NOT_RECORDED, SITES
from aging.vocabulary import Property, additive_words, dose_words, property_named
from dashboard.wording import (
    ALREADY,
    chance,
    interval,
    measured,
    number,
    percent,
    plural,
    site,
    values,
)

CONTROL, CANDIDATE = "Control", "Formulation beside its control"
WORTHWHILE, LIVED = "Worthwhile difference", "Compare"
CHOICES = "Worthwhile difference, kind of value and control"
EVERY_SITE = "Each formulation minus its control, at every site and as the mean over sites."
TARGETS = {"state": "the value at that month", "period": "the mean over the months until then"}
DIFFERENCES = {
    "state": "Difference to the control at {months:g} months",
    "period": "Difference to the control, mean over {months:g} months",
}  # fmt: skip
GUARDS_HEADING = "Other properties that must hold"
NO_GUARDS = "None of the other properties with a limit (elongation, adhesion, growth ...) was read."
PATHS_HEADING, PARTS_HEADING = "Over the months, site by site", "Where the difference comes from"
RANKS_HEADING, NUMBERS_HEADING = "Which one leads", "All differences"
NO_SIDE = "Of {quantity} neither more nor less is better: nobody leads in it."
DOWNLOAD = "Download the table (CSV)"
POOLING_HEADING = "May batches and sites be averaged?"
POOLING_COLUMNS = {
    "formulation": "Formulation", "what": "What", "verdict": "Verdict", "decided_by": "Decided by",
    "estimate": "Mean", "worst": "Worst", "worst_estimate": "There", "p_slopes": "Slopes, p",
    "p_intercepts": "Intercepts, p", "groups": "Which", "n_panels": "Panels", "notes": "Notes",
}  # fmt: skip
HOW_POOLING = (
    "A test on the readings so far, not on the projection: first whether slopes differ, then "
    "intercepts, each at 0.25 (ICH Q1E), with panels as the unit. Batches are told by the value, "
    "sites by the difference to the control, both at the last visits. With few panels a test "
    "seldom objects: that proves no agreement."
)
PARTS = {
    "initial": "initial value", "plateau": "loss in the end", "speed": "speed of soiling",
    "drift": "slow loss later", "removable": "washable loss", "permanent": "permanent loss",
}  # fmt: skip
HOW_PARTS = (
    "The first four add up to the difference at that month. The last two cut the loss another way: "
    "they are losses, so that above 0 more is lost than by the control."
)
CALCULATED = "Calculated from another property: parts and effects are told of that one."
HOW_SITES = (
    "Sites are averaged where a test does not object at 0.25; with few sites it seldom does: look "
    "at the worst site too."
)
COLUMNS = {
    "formulation": "Formulation", "against": "Control", "site": "Site", "estimate": "Difference",
    "lower": "From", "upper": "To", "joint_lower": "All at once, from",
    "joint_upper": "All at once, to", "joint_bound": "At least, all at once",
    "probability_better": "Chance better", "probability_worthwhile": "Chance worthwhile",
    "probability_equivalent": "Chance as good", "worst_site": "Worst site",
    "worst_estimate": "There", "p_sites": "Sites agree, p", "status": "Status",
    "n_panels": "Panels", "notes": "Notes",
}  # fmt: skip
NEUTRAL = {
    "probability_better": "Chance higher",
    "probability_worthwhile": "Chance higher by the worthwhile amount",
    "probability_equivalent": "Chance alike", "worst_site": "Lowest site",
}  # fmt: skip
PART_COLUMNS = {
    "name": "Part", "site": "Site", "estimate": "Difference", "lower": "From", "upper": "To",
}  # fmt: skip
PATH_COLUMNS = {
    "site": "Site", "formulation": "Formulation", "months": "Months exposed", "estimate": "Mean",
    "lower": "From", "upper": "To",
}  # fmt: skip
GUARD_COLUMNS = {
    "formulation": "Formulation", "property": "Property", "value": "Read", "bound": "Bound",
    "limit": "Limit", "verdict": "Verdict", "readings": "Readings", "source": "Source",
}  # fmt: skip

FIGURE, DOSED, LINES = "Figure", "Along the doses of", "A line for each dose of"
NONE = {"additive": 0, "multiplicative": 1}  # of a synergy, on each scale
LOSSES = ("loss", "plateau loss")
FIGURES = {
    "state": "value at that month", "initial": "value when new", "loss": "loss until that month",
    "plateau loss": "loss in the end", "log speed": "speed of soiling, log",
}  # fmt: skip
TOGETHER_HEADING, EFFECTS_HEADING = "Do two additives help each other?", "Effects"
DOSE_HEADING = "How much of it"
FEW_DOSES = "No curve yet. "
ONE_ADDITIVE = "One additive alone was varied: nothing to put together."
EFFECT_COLUMNS = {
    "what": "Effect", "estimate": "Estimate", "lower": "From", "upper": "To",
    "probability_above": "Chance above 0, or 1 of a ratio", "cells": "Comparisons",
}  # fmt: skip
CELL_COLUMNS = {"estimate": "Mean over sites", "lower": "From", "upper": "To"}
HOW_EFFECTS = """
- Effect of a dose: against the lowest dose, at equal doses of all others. Synergy of two: what both
  together bring beyond the sum of each alone; parallel lines show none.
- Additive: a difference, none is 0. Multiplicative: a ratio of losses, none is 1. The two can
  disagree: losses halved twice leave a quarter, which is less than the sum.
- `aging additives` projects a composition between those exposed, and tells what a gain costs.
"""


def columns(prop: Property) -> dict[str, str]:
    """Headings of the table of differences; without "better" where neither way is."""
    return COLUMNS | (NEUTRAL if prop.higher_is_better is None else {})


def no_side(prop: Property) -> str:
    """Why nobody leads."""
    return NO_SIDE.format(quantity=prop.within)


def difference(prop: Property, level: float) -> str:
    """What the figures of a table of differences are."""
    kind = "projected unless its status says already measured"
    return f"Formulation minus control: {values(prop, kind, level)}"


def figure_of(figure: str, prop: Property, months: float, level: float) -> str:
    """What the figures of a table of compositions are."""
    told = capital(figure_at(figure, prop, months))
    return f"{told}, projected, mean over sites; from and to: {percent(level)} interval."


def rank_columns(places: pd.DataFrame) -> dict[str, str]:
    """Headings of the table of ranks."""
    return {"formulation": "Formulation"} | {
        str(place): f"Rank {place}, %" for place in sorted(places["rank"].unique())
    }


def kind(status: str) -> str:
    """Whether a number is read or projected."""
    return "measured" if status == ALREADY else "projected"


def comparison(frame: pd.DataFrame, prop: Property, failing: Collection[str]) -> str:
    """The statement above the chart of differences: over sites, or at the only site."""
    overall = frame[frame["site"] == "all"] if (frame["site"] == "all").any() else frame
    known = overall.dropna(subset=["estimate"])
    if known.empty:
        return "No difference to a control can be projected."
    apart = int(((known["joint_lower"] > 0) | (known["joint_upper"] < 0)).sum())
    text = (
        f"Of {plural(len(known), 'formulation')}, {apart} differ from the control with "
        f"{percent(known['level'].iloc[0])} intervals that hold all at once "
        f"({site(known['site'].iloc[0])})"
    )
    sound = known[~known["formulation"].isin(failing)]
    if sound.empty:
        return f"{text}; all fail another property: there is no winner."
    sign = -1 if prop.higher_is_better is False else 1
    best = sound.loc[(sign * sound["estimate"]).idxmax()]
    out = sorted(set(known["formulation"]) & set(failing))
    less = f" of those that fail nothing else ({', '.join(out)} do)" if out else ""
    most = "highest" if prop.higher_is_better is None else "most favourable"
    return (
        f"{text}; the {most}{less} is {best['formulation']}, "
        f"{number(best['estimate'], prop, sign=True)} ({interval(best, prop, sign=True)}), "
        f"{quantity_within(prop)}, {kind(best['status'])}."
    )


def amount(value: float, prop: Property) -> str:
    """An amount with its unit: '0.02', '1 °C'."""
    return f"{value:g}{unit_after(prop)}"


def named(name: object) -> str:
    """A property and its unit as a person reads them."""
    return quantity(property_named(str(name)))


def brief(name: str) -> str:
    """A property within a sentence, without its scale: 'chalking'."""
    return property_named(name).within.partition(" (")[0]


def guards(verdicts: pd.DataFrame) -> str:
    """The sentence above the table of guard-rails."""
    if verdicts.empty:
        return NO_GUARDS
    failed = verdicts[verdicts["verdict"] == "fails"]
    names = ", ".join(f"{row.formulation} ({brief(row.property)})" for row in failed.itertuples())
    told = f"fails: {names}; these are no winners" if names else "nobody fails"
    read = ", ".join(map(brief, dict.fromkeys(verdicts["property"])))
    return f"Read, and held to their limits: {read}; {told}."


def pooling(found: pd.DataFrame, prop: Property, candidate: str) -> str:
    """The statement on what may be averaged: the candidate's batches, then its sites."""
    told = []
    for row in found[found["formulation"] == candidate].to_dict("records"):
        text = f"{row['what']} {row['verdict']}"
        if row["verdict"] == APART:
            there, mean = (measured(row[name], prop, sign=row["what"] == SITES)
                           for name in ("worst_estimate", "estimate"))  # fmt: skip
            text = (f"{row['what']} differ by their {row['decided_by']}: look at the worst, "
                    f"{row['worst']} {there}, beside the mean {mean}")  # fmt: skip
        elif row["notes"]:
            text += f" ({row['notes']})"
        told.append(text)
    if not (found["what"] == BATCHES).any():
        told.insert(0, NOT_RECORDED)
    return f"{candidate}: {'; '.join(told)}."


def by_site(frame: pd.DataFrame, prop: Property, candidate: str) -> str:
    """The candidate's difference to the control at each site, the worst named."""
    mine = frame[(frame["formulation"] == candidate) & (frame["site"] != "all")]
    mine = mine.dropna(subset=["estimate"])
    if mine.empty:
        return f"{candidate}: no difference at a site can be projected."
    sign = -1 if prop.higher_is_better is False else 1
    told = ", ".join(
        f"{row['site']} {number(row['estimate'], prop, sign=True)}"
        f" ({interval(row, prop, sign=True)})"
        for _, row in mine.iterrows()
    )
    worst = mine.loc[(sign * mine["estimate"]).idxmin(), "site"]
    least = "Lowest" if prop.higher_is_better is None else "Least favourable"
    return (
        f"{candidate} minus {mine['against'].iloc[0]}, {quantity_within(prop)},"
        f" {kind(mine['status'].iloc[0])}, {percent(mine['level'].iloc[0])} intervals: {told}."
        f" {least}: {worst}."
    )


def paths(both: pd.DataFrame, prop: Property, months: float, order: list[str]) -> str:
    """The statement above one site's paths: candidate and control at the end."""
    ends = both[both["months"] == months].set_index("formulation").reindex(order).reset_index()
    told = " and ".join(
        f"{row['formulation']} {number(row['estimate'], prop)} ({interval(row, prop)})"
        for _, row in ends.iterrows()
    )
    return (
        f"{site(both['site'].iloc[0])}: at {months:g} months {told}, {quantity_within(prop)},"
        f" {kind(ends['status'].iloc[0])}."
    )


def parts(found: pd.DataFrame, prop: Property, candidate: str) -> str:
    """The statement above the chart of parts: the two largest over sites."""
    over = found[found["site"] == "all"].head(4)
    first = over.reindex(over["estimate"].abs().sort_values(ascending=False).index).head(2)
    told = ", ".join(
        f"{row['name']} {number(row['estimate'], prop, sign=True)} "
        f"({interval(row, prop, sign=True)})"
        for _, row in first.iterrows()
    )
    return (
        f"{candidate} against its control, {site('all')}: mostly {told}; {quantity_within(prop)},"
        " projected."
    )


def ranks(found: pd.DataFrame, failing: str) -> str:
    """The statement above the table of ranks."""
    best = found[found["rank"] == 1].nlargest(2, "probability")
    chances = zip(best["formulation"], best["probability"], strict=True)
    told = ", ".join(f"{name} {chance(share)}" for name, share in chances)
    out = f" Not ranked, as they fail another property: {failing}." if failing else ""
    return f"Chance of being the best, mean over the sites they share: {told}.{out}"


def capital(text: str) -> str:
    """With a capital first letter, the rest as it is."""
    return text[:1].upper() + text[1:]


def curve_columns(additive: str) -> dict[str, str]:
    """Headings of the table along a dose."""
    name, unit = additive_words(additive)
    return {"dose": capital(f"{name} {unit}".strip()), **CELL_COLUMNS, "exposed": "Exposed"}


def effect(row: Mapping[Hashable, Any]) -> str:
    """An effect: 'Silica 4 % by mass', 'Silica 4 % by mass with sphere 30 % by volume'."""
    columns, levels = str(row["effect"]).split(" x "), (row["level_1"], row["level_2"])
    if pd.isna(levels[0]):
        told = " with ".join(additive_words(one)[0] for one in columns) + ", mean"
    else:
        told = " with ".join(map(dose_words, columns, levels))
    return capital(told) + (", ratio of losses" if row["scale"] == "multiplicative" else "")


def figure_at(figure: str, prop: Property, months: float) -> str:
    """A figure and its unit: 'value at 36 months (solar reflectance, fraction)'."""
    if figure == "log speed":
        return "speed of soiling (logarithm, no unit)"
    told = FIGURES[figure].replace("that month", f"{months:g} months")
    return f"{told} ({quantity_within(prop)})"


def together(
    found: pd.DataFrame, figure: str, prop: Property, months: float = 36.0, level: float = 0.90
) -> str:
    """The statement above the interaction plot: the mean synergy on each scale, who helps whom."""
    mean = found[found["effect"].str.contains(" x ") & found["level_1"].isna()]
    mean = mean if len(mean) else found[found["effect"].str.contains(" x ")]
    named = figure_at(figure, prop, months)
    if mean.empty:
        return f"{capital(named)}, by dose; no four compositions show both together."
    pair = " and ".join(additive_words(one)[0] for one in mean["effect"].iloc[0].split(" x "))
    told = [_synergy(row, level, decimals=prop.decimals) for row in mean.to_dict("records")]
    first = mean.iloc[0]
    verdict = "It cannot be told yet whether they help each other."
    if not first["lower"] <= NONE[first["scale"]] <= first["upper"]:
        up = (prop.higher_is_better is not False) != (figure in LOSSES)
        good = up == (first["estimate"] > NONE[first["scale"]])
        verdict = f"So they {'help' if good else 'hinder'} each other."
        if figure == "log speed" or prop.higher_is_better is None:
            verdict = "So the one changes what the other does."
    return f"{capital(pair)} together, {named}, projected: {'; '.join(told)}. {verdict}"


def _synergy(row: Mapping[Hashable, Any], level: float, *, decimals: int) -> str:
    if row["scale"] == "multiplicative":
        ends = f"{row['lower']:.2f} to {row['upper']:.2f}"
        return (f"{row['estimate']:.2f} of the loss that the two alone would leave together"
                f" ({percent(level)} interval {ends})")  # fmt: skip
    ends = f"{row['lower']:+.{decimals}f} to {row['upper']:+.{decimals}f}"
    return (f"{row['estimate']:+.{decimals}f} beyond the sum of each alone"
            f" ({percent(level)} interval {ends})")  # fmt: skip


def dose(found: DoseResponse, figure: str, prop: Property, level: float) -> str:
    """The statement above the curve of doses."""
    off, low, high = found.levels_off
    name, unit = additive_words(found.additive)
    does, gain = "is better", "gain"
    if prop.higher_is_better is None:
        gain, does = "change", "lessens it" if figure in (*LOSSES, "log speed") else "raises it"
    return (
        f"{capital(name)}: more of it {does} with a chance of {chance(found.rising)}; "
        f"95 % of the {gain} is reached at {off:.1f} {unit}".rstrip()
        + f" ({percent(level)} interval {low:.1f} to {high:.1f}). Grey was not exposed."
    )
