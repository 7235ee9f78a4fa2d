"""What the pages of claims say of the evidence: gates, criteria, sentences, words to avoid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

import pandas as pd

from aging.claims import GATES, Gate, Hit, Proposal
from aging.vocabulary import DERIVED, PROPERTIES
from dashboard.claim_words import BASES, NOT_RATED, number, told, worst
from dashboard.wording import as_sentence, plural

GATES_HEADING, SENTENCES_HEADING = "What stands behind it", "What may be said now"
CRITERIA_HEADING = "Criteria of programmes"
NO_GATE = "For use inside no gate is asked."
NOTHING = "Nothing yet, as {basis}: what is missing above comes first."
CRITERIA_NOTE = (
    "Routes are tested apart, with {emittance}. Meeting a threshold here is no rating. Rows marked "
    '"check before use" were not seen in the programme\'s own text: check edition and value first.'
)
CRITERIA_COLUMNS = {
    "verdict": "Verdict", "probability": "Probability", "programme": "Programme",
    "edition": "Edition", "checked": "Text of it", "thresholds": "Thresholds", "state": "When",
    "slope": "Slope", "section": "Section", "applies_to": "Where", "route": "Route",
    "source": "From",
}  # fmt: skip
UNITS = {"batches": "batches of paint that differ"}  # where the table has a statistic
VERDICTS = ("met", "undecided", "not met")
FORMULATION, PROPERTY, MONTHS, BASIS = "Formulation", "Property", "Months exposed", "As"
RATED_VALUE, RATING = "Value that the body issued", "Its identifier, body and date"
RATED_NEEDS = "A rated claim repeats what a body issued: enter its value and identifier."
VALUE, BOUND, ESTIMATE, WORST = "Value to claim", "Bound", "Estimate", "Worst site"
RECORD_HEADING, RECORD = "Record it", "Record this claim"
CRITERION, NO_CRITERION = "Claim a criterion instead", "no, the value above"
BOUND_OF = "the 95 % one-sided bound of the mean over"
KINDS = {
    "projected": BOUND_OF, "substantiated": BOUND_OF, "internal": BOUND_OF,
    "measured": "the mean that was read then over", "rated": "as a body issued it; exposed at",
    "laboratory-aged": "the mean of soiled panels of",
    "default formula": "what a code assumes, from the value when new at",
}  # fmt: skip
READ_OF = ("projected", "substantiated", "internal", "measured")
WORDING, OWN, OWN_TEXT = "Words of the claim", "own words", "Own words"
REPLACES, REPLACES_NONE = "In place of", "none"
REPLACES_WHY = "Why it replaces that one"
REFUSED = "Not recorded. "
NO_VALUE = "There is no value to record; the note above says why."
MISSING = "It cannot be recorded as {basis} before every gate is met; for internal use it can."

TEXT_IS = (
    "Paste a text that speaks of a coating. Expressions that no evidence here carries are marked, "
    "with the reason and safer words. Nothing is stored."
)
PASTE, CHECK = "Text", "Check"
EXPRESSIONS = "Every expression on the list"
EXPRESSION_COLUMNS = {
    "expression": "Expression", "unless": "Passes with", "reason": "Why", "safer": "Safer words",
}  # fmt: skip
MARKED = '<div style="white-space: pre-wrap; overflow-wrap: anywhere">{text}</div>'


def gates(found: Sequence[Gate]) -> str:
    """How many gates are met."""
    return f"{sum(one.met for one in found)} of {plural(len(found), 'gate')} met."


def unit(one: Gate) -> str:
    """What a gate counts, in words."""
    return UNITS.get(one.gate) or str(GATES.loc[one.gate, "unit"])


def gate(one: Gate) -> str:
    """A line of the checklist: what is seen, and what is missing and when it can be met."""
    name = unit(one)
    what = f"{name[0].upper()}{name[1:]}: {one.seen}"
    if one.met:
        return f"\u2713 Met. {what} (needed: {one.needed})."
    return f"\u2717 Missing. {what}; needed: {one.needed}. {one.how[0].upper()}{one.how[1:]}."


def also(basis: str, lacking: Sequence[Gate]) -> str:
    """What a stronger basis still needs."""
    gates = "; ".join(f"{unit(one)} ({one.how})" for one in lacking)
    if not gates:
        return f"It could be said as {BASES[basis]} now."
    return f"Not yet as {BASES[basis]}: {gates}."


def verdicts(rows: pd.DataFrame) -> str:
    """How many criteria are met."""
    found = rows["verdict"].value_counts()
    return ", ".join(f"{found.get(one, 0)} {one}" for one in VERDICTS) + "."


def criteria(rows: pd.DataFrame) -> pd.DataFrame:
    """Criteria with the symbols of their quantities, undecided ones first."""
    short = rows["thresholds"]
    for name, prop in {**PROPERTIES, **DERIVED}.items():
        short = short.str.replace(name, prop.symbol, regex=False)
    order = {"undecided": 0, "not met": 1, "met": 2}
    shown = rows.assign(thresholds=short, order=rows["verdict"].map(order))
    return shown.fillna({"section": "", "applies_to": ""}).sort_values("order", kind="stable")


def sentence(number: int) -> str:
    """The name of one of the sentences above."""
    return f"sentence {number + 1}"


def proposed(of: Proposal) -> Mapping[str, str]:
    """The big figures of a proposal."""
    name = of.property
    return {
        VALUE: number(of.value, name) or "none", BOUND: number(of.bound, name, finer=2) or "none",
        ESTIMATE: number(of.estimate, name, finer=1) or "none",
        WORST: f"{number(of.worst_value, name) or 'none'}",
    }  # fmt: skip


def hits(found: Sequence[Hit]) -> str:
    """How many expressions are marked."""
    count = plural(len(found), "expression") if found else "No expression"
    return f"{count} to avoid. Legal review is still due."


def marked(text: str, found: Sequence[Hit]) -> str:
    """A text as HTML, its expressions to avoid marked; everything in it is escaped."""
    pieces, place = [], 0
    for hit in found:
        if hit.start < place:
            continue
        pieces += [escape(text[place : hit.start]), f"<mark>{escape(hit.found)}</mark>"]
        place = hit.end
    return MARKED.format(text="".join([*pieces, escape(text[place:])]))


def hit(text: str, one: Hit) -> str:
    """An expression to avoid, where it stands, why, and what to write."""
    line = text.count("\n", 0, one.start) + 1
    found = " ".join(one.found.split())
    return f"Line {line}, \u201c{found}\u201d: {one.reason}.\nSafer: {one.safer}."


def nothing(basis: str) -> str:
    """Why nothing may be said."""
    return NOTHING.format(basis=BASES[basis])


def missing(of: Proposal) -> str:
    """Why it cannot be recorded."""
    if of.basis == "internal":
        return NO_VALUE
    return MISSING.format(basis=BASES[of.basis])


def criteria_note(rows: pd.DataFrame) -> str:
    """What the table of criteria rests on."""
    return CRITERIA_NOTE.format(emittance=rows["emittance"].iloc[0])


def bound(of: Proposal) -> str:
    """What the value is, from how much, and the worst site."""
    sites = f"{plural(len(of.sites), 'site')} ({', '.join(of.sites)})"
    what = f"{told(of.property)} at {of.months:g} months: {KINDS[of.basis]} {sites}"
    if of.basis in READ_OF and of.panels:
        what += f", from {plural(of.panels, 'panel')} read for {of.observed:.1f} months"
    told_off = NOT_RATED if of.basis != "rated" else ""
    text = " ".join(filter(None, (f"{what}.", worst(of), told_off)))
    return "\n".join([text, *map(as_sentence, of.notes)])
