"""Words that the evidence allows, and a check of words that it does not.

sentences.csv holds the sentences of each basis, words.csv the expressions to avoid with the reason
and a safer form. In an expression a blank stands for blanks, hyphens or nothing, a slash parts
alternatives, * any ending and # a number; plurals and capitals are seen by themselves. It passes
behind a plain "not", "no" or "never", and where its sentence holds what `unless` names: one of the
words, or "identifier": an identifier behind id, no. or number, or behind the word itself.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from aging.claims.proposal import PROJECTED, RETENTION, Proposal
from aging.errors import require
from aging.vocabulary import CLAIM_BASES, property_named

SENTENCES = pd.read_csv(Path(__file__).with_name("sentences.csv"))
WORDS = pd.read_csv(Path(__file__).with_name("words.csv"), dtype="str").fillna("")
CAUTIONS = (
    "A projection is not a rating: only bodies that rate products issue one.",
    "Codes differ by place and edition: the local authority and licensed practice decide.",
    "A reflectance says nothing of energy bills and is no warranty.",
    "In cold seasons a reflective roof gains less heat and dries more slowly.",
    "Legal review before anything is published.",
)
_JOIN = r"[\s\u00a0\-\u2010-\u2015]*"
_NUMBER = (
    r"(?:\d+(?:[.,]\d+)?|one|two|three|four|five|six|seven|ten"
    r"|(?:twen|thir|for|fif|six|seven|eigh|nine)ty)"
)
_IDENTIFIER = re.compile(
    r"\b(?:id|no|number|identifier)\b[.:#]?\s*[A-Z0-9-]*\d"
    r"|\b(?:[Rr]at(?:ing|ed)|[Cc]ertifi(?:cate|ed)|[Aa]pprov(?:al|ed))\b[^;]{0,40}?"
    r"\b(?=[A-Z0-9-]*\d)(?=[A-Z0-9-]*[A-Z])[A-Z0-9-]{4,}\b"
)
_DENIED = re.compile(
    r"\b(?:not|no|never|nor|neither|without)\s+(?:(?:a|an|yet|any|been)\s+)*$", re.IGNORECASE
)
_END = re.compile(r"[!?\n]|\.(?=\s|$)(?!(?<=\b[Nn]o\.)\s+[A-Z0-9-]*\d)")


@dataclass(frozen=True)
class Hit:
    """An expression to avoid, where it stands in a text (start to end), why, and a safer form."""

    start: int
    end: int
    found: str
    reason: str
    safer: str


def sentences(proposal: Proposal, *, rating: str = "") -> tuple[str, ...]:
    """Sentences that a proposal's basis allows, filled in; none where there is no value."""
    one, (name, _, kind) = proposal, proposal.property.partition(" ")
    require(one.basis in CLAIM_BASES, "basis", one.basis, CLAIM_BASES)
    require(one.basis != "rated" or bool(rating.strip()), "rating", rating, "the body's identifier")
    if pd.isna(one.value):
        return ()
    prop = property_named(name)
    retention = f" {kind}" == RETENTION
    lower_is_better = prop.higher_is_better is False and not retention
    digits = 2 if retention else min(prop.decimals, 2)
    finer = digits if prop.step >= 1 else digits + 1
    label = prop.label if prop.label.isupper() else prop.label[0].lower() + prop.label[1:]
    facts = {
        "formulation": one.formulation, "property": f"{label}{' retention' * retention}",
        "months": f"{one.months:g}", "value": f"{one.value:.{digits}f}",
        "estimate": f"{one.estimate:.{finer}f}", "bound": f"{one.bound:.{finer}f}",
        "confidence": f"{100 * one.confidence:g} %", "sites": ", ".join(one.sites),
        "count": f"{len(one.sites)} site{'s' * (len(one.sites) != 1)}", "panels": str(one.panels),
        "observed": f"{one.observed:.0f}", "worst_site": one.worst_site,
        "worst_value": f"{one.worst_value:.{digits}f}", "rating": rating.strip(),
    }  # fmt: skip
    own = SENTENCES.loc[SENTENCES["basis"] == one.basis, "sentence"]
    told = [str(text).format(**facts) for text in own]
    if lower_is_better and one.basis in PROJECTED:
        told = [text.replace("at least", "at most").replace("or more", "or less") for text in told]
    return tuple(told)


def examine(text: str) -> tuple[Hit, ...]:
    """Every expression to avoid in a text, in the order in which they stand."""
    ends = [0, *(one.end() for one in _END.finditer(text)), len(text) + 1]
    found: dict[tuple[int, int], Hit] = {}
    for pattern, row in _PATTERNS:
        for match in pattern.finditer(text):
            start, end = match.span()
            opens = max(place for place in ends if place <= start)
            sentence = text[opens : min(place for place in ends if place > start)]
            if _DENIED.search(text[opens:start]) or _excused(sentence, row["unless"]):
                continue
            found.setdefault(
                (start, end), Hit(start, end, match.group(), row["reason"], row["safer"])
            )
    return tuple(found[span] for span in sorted(found) if not _within(span, found))


def _within(span: tuple[int, int], found: dict[tuple[int, int], Hit]) -> bool:
    """Whether a longer hit holds this one."""
    return any(other != span and other[0] <= span[0] and span[1] <= other[1] for other in found)


def _excused(sentence: str, unless: str) -> bool:
    for word in unless.split():
        if word == "identifier":
            if _IDENTIFIER.search(sentence):
                return True
        elif re.search(rf"\b{word}", sentence, re.IGNORECASE):
            return True
    return False


def _pattern(expression: str) -> re.Pattern[str]:
    """The regular expression of a row of words.csv."""
    words = ["|".join(map(_word, word.split("/"))) for word in expression.split()]
    joined = _JOIN.join(f"(?:{word})" for word in words)
    last = r"(?!\w)" if not expression.endswith("%") else ""
    return re.compile(rf"(?<!\w){joined}{last}", re.IGNORECASE)


def _word(word: str) -> str:
    if word == "#":
        return _NUMBER
    if word.endswith("*"):
        return rf"{re.escape(word[:-1])}\w*"
    return re.escape(word) + ("(?:e?s)?" if word.isalpha() else "")


_PATTERNS = [(_pattern(row["expression"]), row) for _, row in WORDS.iterrows()]
