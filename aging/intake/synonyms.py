"""What laboratories call our columns, properties and surface states: `synonyms.csv`, trade words.

A header is read as its words, its unit (in brackets, or the last word) and the surface state that
it names: `SR washed [%]` is solar reflectance, washed, in percent.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

from aging.vocabulary import UNIT_FACTORS

WORDS = Path(__file__).with_name("synonyms.csv")
_BRACKET = re.compile(r"[(\[]([^()\[\]]*)[)\]]")
_NUMBERED = re.compile(r"(.*?[^\W\d])[ ._#-]*[1-9]")
LONGEST = 80  # letters of a header
UNITS = frozenset(unit for known in UNIT_FACTORS.values() for unit in known) - {"1", "rating"}
_PER_DAY = {"mj/m2": 1.0, "kwh/m2": 3.6, "wh/m2": 0.0036, "j/cm2": 0.01, "w/m2": 0.0864}
WEATHER_UNITS = {  # factors to our own; W/m2 is a day's mean
    "rain_mm": {"mm": 1.0, "cm": 10.0, "in": 25.4}, "temperature_C": {"°c": 1.0},
    "relative_humidity_pct": {"%": 1.0}, "solar_MJ_m2": _PER_DAY, "uv_MJ_m2": _PER_DAY,
    "pm10_ug_m3": {"ug/m3": 1.0, "µg/m3": 1.0},
}  # fmt: skip
_BRACKETED = UNITS.union(*WEATHER_UNITS.values())


@dataclass(frozen=True)
class Heard:
    """What a header says: a column or property (or ""), its unit and surface state (or "")."""

    meaning: str
    unit: str = ""
    surface_state: str = ""


def is_unit(text: str) -> bool:
    """Whether a text is a unit of some property or of weather."""
    return text.strip().lower() in _BRACKETED or text.strip() in ("-", "1")


def plain_words(text: str) -> str:
    """Small letters without accents and signs between the words; a star stays."""
    letters = unicodedata.normalize("NFKD", text.strip().lower())
    kept = "".join(one for one in letters if not unicodedata.combining(one))
    return " ".join(re.sub(r"[^\w*°%µμ]+|_", " ", kept).split())


@cache
def known(kind: str) -> dict[str, str]:
    """Meaning by plain words, of one kind: column, property, surface_state or role."""
    with WORDS.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["kind"] == kind]
    own = {plain_words(row["meaning"]): row["meaning"] for row in rows}
    return {plain_words(row["word"]): row["meaning"] for row in rows} | own


def word_for(kind: str, text: str) -> str:
    """The vocabulary's word for a cell, or the cell as it stands."""
    return known(kind).get(plain_words(text), text)


def knows(header: str) -> bool:
    """Whether a header is known."""
    return bool(header.strip()) and len(header) <= LONGEST and bool(heard(header).meaning)


@lru_cache(4096)
def heard(header: str) -> Heard:
    """What a header says."""
    unit, bracketed = "", header
    for inside in _BRACKET.findall(header):
        if inside.strip().lower() in _BRACKETED:
            unit, bracketed = inside.strip(), bracketed.replace(inside, " ")
    whole, words = plain_words(header), plain_words(bracketed)
    meaning = _column(whole) or _column(words)
    if meaning:
        return Heard(meaning, unit)
    if not unit:
        first, _, last = words.rpartition(" ")
        if first and last in UNITS:
            unit, words = last, first.removesuffix(" in")
        elif words.endswith("%"):
            unit, words = "%", words[:-1].strip()
    words, state = _state(words)
    numbered = _NUMBERED.fullmatch(words)
    for text in (words, numbered[1].strip() if numbered else ""):
        if meaning := _column(text):
            return Heard(meaning, unit, state)
    return Heard(_within(words), unit, state)


def _column(words: str) -> str:
    return known("property").get(words) or known("column").get(words) or ""


def _state(words: str) -> tuple[str, str]:
    """The words without those of a surface state, and the state."""
    for text, state in sorted(known("surface_state").items(), key=lambda one: -len(one[0])):
        if len(text) > 3 and re.search(rf"(^| ){re.escape(text)}( |$)", words):  # noqa: PLR2004 - not "no"
            rest = " ".join(re.sub(rf"(^| ){re.escape(text)}( |$)", " ", words).split())
            if rest:
                return rest, state
    return words, ""


def _within(words: str) -> str:
    """The one property whose longest known words all stand in the header, with no column's word."""
    mine = set(words.split())
    if mine & set(known("column")):
        return ""
    found = {text: name for text, name in known("property").items()
             if len(text) > 1 and set(text.split()) <= mine}  # fmt: skip
    longest = max(map(len, found), default=0)
    return _only(name for text, name in found.items() if len(text) == longest)


def _only(names: Iterable[str]) -> str:
    some = set(names)
    return some.pop() if len(some) == 1 else ""
