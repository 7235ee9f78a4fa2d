"""What the pages of claims say of claims made, and their numbers as a person reads them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import isinf, isnan
from typing import Any

import pandas as pd

from aging.charts import quantity, quantity_within, unit_after
from aging.claims import Claim, Proposal, Turn, Watched
from aging.claims.lines import nearer
from aging.claims.proposal import RETENTION
from aging.claims.words import CAUTIONS
from aging.vocabulary import Property, property_named
from dashboard.wording import interval, plural

CLAIMS, CLAIM, NEW, TEXT = "Claims", "A claim", "Make a claim", "Check a text"
WHICH = "Which claim"
WATCHING = "Holding every claim to the readings ..."
PREPARING = "Making the dossier as of the claim's revision ..."
WEIGHING = "Weighing the evidence ..."

NEEDS_STORE = (
    "This dashboard shows files. A claim is kept in the store that it rests on: load the files "
    "into a store first, and open that."
)
STORE_COMMANDS = "aging load FOLDER --store STORE\naging dashboard STORE"
NONE_YET = (
    "No claim has been made on this store yet.\n"
    "This page will show each claim: whether it still holds, by how much, which way it moves, and "
    "which next reading would break it. Trouble comes first; below, how often past claims were "
    "right.\nWhat to do next: see what a formulation's readings allow, and record it."
)
NO_SUCH = "The store holds no claim "

STATES = {"broken": "Broken", "at risk": "At risk", "cannot tell": "Cannot tell", "holds": "Holds"}
ENDED = {"withdrawn": "Withdrawn", "replaced": "Replaced"}
TROUBLE = ("broken", "at risk", "cannot tell")
TROUBLE_HEADING = "Needs a decision"
MORE_TROUBLE = "{count} more stand in the table."
OPEN_CLAIM = "Open this claim"
ALL_HEADING, HOW_TO_OPEN = "Every claim", "Tick a row to open its claim."
CLAIM_COLUMNS = {
    "state": "State", "formulation": "Formulation", "about": "Claimed is", "months": "Months",
    "value": "Claimed", "now": "Now", "margin": "Margin", "moved": "Moved",
    "fails": "Fails with", "breaks": "What would break it, or how it ended",
    "basis": "As", "made": "Made on", "by": "Made by", "claim": "Claim",
}  # fmt: skip
HOW_TO_READ = (
    "Now: projected to the claimed month, or measured once it was read. Margin: how far now is on "
    "the good side of the claimed value. Moved: how now changed since the "
    "claim was made, above 0 for the better. Fails with: probability that the reading "
    "of that month falls short."
)
CARD_HEADING = "How past claims did"
CARD_COLUMNS = {
    "right": "Right", "formulation": "Formulation", "about": "Claimed is", "months": "Months",
    "value": "Claimed", "measured": "Measured", "given_away": "Given away", "basis": "As",
    "claim": "Claim",
}  # fmt: skip
RIGHT = {True: "right", False: "wrong"}

CURVE_COLUMNS = {
    "months": "Months exposed", "interval": "Value of", "estimate": "Estimate", "lower": "From",
    "upper": "To", "kind": "Kind",
}  # fmt: skip
STATE, CLAIMED, MARGIN = "State", "Claimed", "Margin"
NOW, READ, CHANCE = "Projected now", "Measured", "Probability of failing"
WORDS_HEADING = "Its exact words"
PREPARE = "Prepare the dossier"
PAPERS = {
    "pdf": ("Dossier as PDF", "application/pdf"), "html": ("Dossier as a page", "text/html"),
    "zip": ("Evidence pack", "application/zip"),
}  # fmt: skip
WITHDRAW, REASON = "Withdraw this claim", "Why"
CHART_HEADING = "The readings and the claimed value"
NOT_RATED = "Our own evidence: not a rating."

BASES = {
    "measured": "measured", "substantiated": "substantiated projection", "projected": "projection",
    "internal": "for internal use", "laboratory-aged": "after laboratory soiling",
    "default formula": "the code's default", "rated": "rated by a body",
}  # fmt: skip


def number(value: float, name: str, *, finer: int = 0, sign: bool = False) -> str:
    """A value of a claim's property with its unit, `finer` decimals more of a ratio."""
    if isnan(value):
        return ""
    prop, retention = property_named(name.removesuffix(RETENTION)), name.endswith(RETENTION)
    digits = 2 if retention else min(prop.decimals, 2)
    digits += finer * (retention or prop.step < 1)
    unit = "" if retention else unit_after(prop)
    return f"{value:{'+' if sign else ''}.{digits}f}{unit}"


def told(name: str) -> str:
    """'Solar reflectance', 'Solar reflectance retention'."""
    prop = property_named(name.removesuffix(RETENTION))
    return prop.label + RETENTION * name.endswith(RETENTION)


def within(name: str) -> str:
    """`told` within a sentence."""
    return told(name)[0].lower() + told(name)[1:]


def subject(claim: Claim) -> str:
    """What a claim is, and what its big figures are."""
    return f"{called(claim)}. Figures: {quantity_within(_as_claimed(claim.property))}."


def figures_are(name: str) -> str:
    """What the big figures are: 'Solar reflectance, fraction.'."""
    return quantity(_as_claimed(name)) + "."


def _as_claimed(name: str) -> Property:
    return as_told(property_named(name.removesuffix(RETENTION)), name)


def about(claim: Claim) -> str:
    """What is claimed: a criterion or a property."""
    return claim.criterion or told(claim.property)


def called(claim: Claim) -> str:
    """'S8H30, solar reflectance 0.67 at 36 months, projection'."""
    what = claim.criterion
    if not what:
        what = f"{within(claim.property)} {number(claim.value, claim.property)}"
    return f"{claim.formulation}, {what} at {claim.months:g} months, {BASES[claim.basis]}"


def state(one: Watched, end: pd.Series | None) -> str:
    """The word for how a claim stands."""
    return STATES[one.state] if end is None else ENDED[end["kind"]]


def ended(end: pd.Series | None) -> str:
    """How a claim ended, or nothing."""
    if end is None:
        return ""
    other = f" by {end['replaced_by']}" if end["kind"] == "replaced" else ""
    return f"{end['kind']}{other} on {end['ended_at'][:10]} by {end['ended_by']}: {end['reason']}"


def breaks(one: Watched) -> str:
    """What would break a claim, and how far away that is."""
    if isnan(one.breaks_at):
        return "no single visit" if isinf(one.distance) else ""
    name = one.claim.property
    lower = property_named(name.removesuffix(RETENTION)).higher_is_better is False
    less, below = ("more", "above") if lower and RETENTION not in name else ("less", "below")
    return (
        f"a mean of {number(one.breaks_at, name, finer=1)} or {less} at month "
        f"{one.next_months:g}: {number(one.distance, name, finer=1)} ({one.sigmas:.1f} sd) {below} "
        f"what is expected{nearer(one)}"
    )


def decided(one: Watched) -> str:
    """Why no visit to come would break a claim, or nothing."""
    if not isnan(one.measured):
        return "its month was read"
    return "broken as it is" if one.state == "broken" else ""


def row(one: Watched, end: pd.Series | None) -> dict[str, Any]:
    """A claim as CLAIM_COLUMNS, and `order`: trouble first, ended last."""
    claim, name = one.claim, one.claim.property
    order = list(STATES).index(one.state) if end is None else len(STATES)
    return {
        "order": order, "state": state(one, end), "formulation": claim.formulation,
        "about": about(claim), "months": claim.months, "value": number(claim.value, name),
        "now": number(one.estimate, name, finer=1),
        "margin": number(one.margin, name, finer=1, sign=True),
        "moved": number(one.moved, name, finer=1, sign=True),
        "fails": one.probability_failing, "breaks": ended(end) or breaks(one) or decided(one),
        "basis": BASES[claim.basis], "made": claim.made_at[:10],
        "by": claim.made_by, "claim": claim.claim,
    }  # fmt: skip


def counts(states: Sequence[str]) -> dict[str, str]:
    """How many standing claims are in each state."""
    return {name: f"{states.count(name)}" for name in STATES.values()}


def trouble(one: Watched) -> str:
    """A claim that needs a decision, in lines."""
    lines = [f"{STATES[one.state]}: {called(one.claim)}", how_it_stands(one)]
    return "\n".join(filter(None, lines))


def side(amount: float) -> str:
    """The side to which an amount lies, above 0 being well."""
    return "better" if amount > 0 else "worse"


def how_it_stands(one: Watched) -> str:
    """Why a claim is in its state, how it moved, and what would break it."""
    name = one.claim.property
    sentences = [f"{one.why[0].upper()}{one.why[1:]}."]
    if not isnan(one.moved):
        moved = number(abs(one.moved), name, finer=1)
        still = float(moved) == 0
        way = f"{moved} for the {side(one.moved)}"
        if isnan(one.measured):
            sentences.append(
                "The projection has not moved since it was made." if still
                else f"Since it was made the projection moved {way}."
            )  # fmt: skip
        elif not still:
            sentences.append(f"Against what was expected when it was made: {way}.")
    if what := breaks(one):
        sentences.append(f"What would break it: {what}.")
    return " ".join(sentences)


def turned(one: Watched, turn: Turn) -> str:
    """The visit that put a claim in trouble, and by how much."""
    prop = property_named(one.claim.property)
    moved = number(turn.after - turn.before, prop.name, finer=1, sign=True)
    ends = [number(value, prop.name, finer=1) for value in (turn.before, turn.after)]
    return (
        f"{STATES[one.state]} since the visit of {turn.on} at {', '.join(turn.sites)}: it moved "
        f"the projected mean at {one.claim.months:g} months by {moved}, from {ends[0]} to "
        f"{ends[1]} ({quantity_within(prop)}), more than any other visit since the claim was made."
    )


def figures(one: Watched, end: pd.Series | None) -> dict[str, str]:
    """The big figures of a claim."""
    name, shown = one.claim.property, {STATE: state(one, end)}
    if not isnan(one.claim.value):
        shown[CLAIMED] = number(one.claim.value, name)
    if not isnan(one.estimate):
        shown[NOW if isnan(one.measured) else READ] = number(one.estimate, name, finer=1)
        shown[MARGIN] = number(one.margin, name, finer=1, sign=True)
    if isnan(one.measured) and not isnan(one.probability_failing):
        shown[CHANCE] = f"{one.probability_failing:.2f}"
    return shown


def made(claim: Claim) -> str:
    """Who made a claim when, on what."""
    sites = f"{plural(len(claim.sites), 'site')} ({', '.join(claim.sites)})"
    rated = f", {claim.rating}" if claim.rating else ""
    return (
        f"Claim {claim.claim}, made by {claim.made_by} on {claim.made_at[:10]}; basis: "
        f"{BASES[claim.basis]}{rated}; of the mean over {sites}; on revision "
        f"{claim.evidence_revision} of the store (digest {claim.evidence_digest[:12]})."
    )


def option(one: Watched, end: pd.Series | None) -> str:
    """A claim in a list to choose from, short enough for a phone."""
    claim = one.claim
    prop = property_named(claim.property.removesuffix(RETENTION))
    share = RETENTION * claim.property.endswith(RETENTION)
    what = claim.criterion or f"{prop.symbol}{share} {number(claim.value, claim.property)}"
    return (
        f"{state(one, end)}: {claim.formulation}, {what}, {claim.months:g} months ({claim.claim})"
    )


def worst(of: Proposal) -> str:
    """The worst site beside the mean."""
    name = of.property
    if not of.worst_site or isnan(of.worst_value) or isnan(of.value):
        return ""
    return (
        f"What could be claimed now: {number(of.value, name)} of the mean over sites, "
        f"{number(of.worst_value, name)} of the worst site, {of.worst_site}."
    )


def cautions() -> str:
    """The cautions, for where the number stands."""
    return "\n".join(CAUTIONS)


def other_sites(claim: Claim, now: Sequence[str]) -> str:
    """Where the chart's mean is over other sites than the claim's, or nothing."""
    if set(claim.sites) == set(now):
        return ""
    return f"The claim speaks of {', '.join(claim.sites)}; the chart shows {', '.join(now)}."


def fan(name: str, formulation: str, row: pd.Series, claimed: float | None) -> str:
    """The statement above the chart of a claim."""
    where = f"{formulation}, mean over sites"
    if pd.isna(row["estimate"]):
        return f"{where}: {row['status']}; the marks are the readings."
    ends = interval(row, property_named(name.removesuffix(RETENTION)))
    line = ""
    if claimed is not None:
        line = f" The dashed line is the claimed {number(claimed, name)}."
    return (
        f"{where}: {within(name)} {number(row['estimate'], name, finer=1)} at {row['months']:g} "
        f"months ({row['status']}); 90 % interval {ends}.{line} {NOT_RATED}"
    )


def as_told(prop: Property, name: str) -> Property:
    """A property as a chart names it, where its retention is claimed."""
    if not name.endswith(RETENTION):
        return prop
    return replace(prop, label=told(name), unit="fraction")


def as_ended(one: Watched, end: pd.Series) -> str:
    """How a claim ended, and what was read of it."""
    text = f"{ended(end)[0].upper()}{ended(end)[1:]}."
    return text if isnan(one.measured) else f"{text} {one.why[0].upper()}{one.why[1:]}."


def past(rows: pd.DataFrame) -> pd.DataFrame:
    """The report card as CARD_COLUMNS, wrong ones first."""
    names = rows["property"]
    figures = {
        "value": [number(*one) for one in zip(rows["value"], names, strict=True)],
        "measured": [number(*one, finer=1) for one in zip(rows["measured"], names, strict=True)],
        "given_away": [number(*one, finer=1, sign=True)
                       for one in zip(rows["given_away"], names, strict=True)],
    }  # fmt: skip
    shown = rows.sort_values("right", kind="stable").index
    more = {"right": rows["right"].map(RIGHT), "about": names.map(told),
            "basis": rows["basis"].map(BASES)}  # fmt: skip
    return rows.assign(**figures, **more).loc[shown]
