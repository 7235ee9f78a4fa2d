"""Columns of text to numbers and dates: each distinct text is read once, then spread over the rows.

A number is plain: digits, one decimal sign, an exponent; never a thousands separator. A date is
ISO 8601 (YYYY-MM-DD, a time and an offset may follow after T or a space).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aging.records import as_meant

Mask = NDArray[np.bool_]
NOTHING = ("na", "n/a", "nan", "null", "none", "-")  # typed into number and date cells left open

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_COMMA_NUMBER = r"[+-]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]{1,3})?"
_ISO_DAY = r"[0-9]{4}-[0-9]{2}-[0-9]{2}"
_CLOCK = r"[T ](?:[01][0-9]|2[0-3]):[0-5][0-9]"
_TIME = _CLOCK + r"(?::[0-5][0-9](?:\.[0-9]{1,9})?)?(?:Z|[+-](?:[01][0-9]|2[0-3]):?[0-5][0-9])?"
SWAPPABLE = r"([0-9]{1,2})[/.-]([0-9]{1,2})[/.-]([0-9]{4}|[0-9]{2})((?:[T ].*)?)"


@dataclass(frozen=True)
class Words:
    """The distinct texts of a column, trimmed, and for each row which of them it holds."""

    codes: NDArray[np.intp]
    text: pd.Series

    def rows(self, per_word: Any) -> NDArray[Any]:
        """Spread one value a word over the rows."""
        return np.asarray(per_word)[self.codes]

    def column(self, text: pd.Series) -> pd.Series:
        """Spread texts over the rows; empty ones become missing."""
        return pd.Series(text.mask(text == "").array.take(self.codes))


@dataclass(frozen=True)
class Dates:
    """Dates read from words: ISO text, the day alone, and what could not be read why."""

    text: pd.Series
    day: NDArray[np.datetime64]
    ambiguous: Mask
    bad: Mask


def words(column: pd.Series) -> Words:
    """Tell the distinct texts of a str column."""
    codes, text = pd.factorize(column)
    return Words(codes, as_meant(pd.Series(text, dtype="str").str.strip()))


def numbers(text: pd.Series, *, decimal_comma: bool) -> tuple[NDArray[np.float64], Mask]:
    """Values (NaN where empty or bad) and whether a text that is there is no number."""
    if decimal_comma:
        comma = text.str.fullmatch(_COMMA_NUMBER)
        text = text.mask(comma, text.str.replace(",", ".", regex=False))
    good = text.str.fullmatch(_NUMBER).to_numpy(bool)
    values = np.full(len(text), np.nan)
    values[good] = text[good].to_numpy(dtype=np.float64)
    good = good & np.isfinite(values)
    values[~good] = np.nan
    return values, ~good & (text != "").to_numpy(bool)


def lists(text: pd.Series, *, decimal_comma: bool) -> tuple[pd.Series, Mask]:
    """Numbers parted by spaces or semicolons, as text with one space between; and what is none."""
    parts = text.str.replace(r"[\s;]+", " ", regex=True).str.strip().str.split(" ")
    flat = parts.explode()
    values, bad = numbers(flat, decimal_comma=decimal_comma)
    shortest = pd.Series([f"{value!r}".removesuffix(".0") for value in values.tolist()], flat.index)
    wrong = pd.Series(bad, flat.index).groupby(level=0).any()
    joined = shortest.groupby(level=0).agg(" ".join).astype("str")
    return joined.mask((text == "") | wrong, ""), wrong.to_numpy(bool)


def dates(text: pd.Series, *, day_first: bool | None, timed: bool) -> Dates:
    """Read ISO dates; `day_first` says how to read 03/04/2025, None leaves it ambiguous.

    `timed` keeps the time of day; midnight without an offset is the date alone.
    """
    swappable = text.str.fullmatch(SWAPPABLE).to_numpy(bool)
    if day_first is not None and swappable.any():
        parts = text[swappable].str.extract(SWAPPABLE)
        day, month = (parts[0], parts[1]) if day_first else (parts[1], parts[0])
        iso = parts[2] + "-" + month.str.zfill(2) + "-" + day.str.zfill(2) + parts[3]
        text = text.copy()
        text[swappable] = iso.where(parts[2].str.fullmatch("[0-9]{4}"), text[swappable])
        swappable = text.str.fullmatch(SWAPPABLE).to_numpy(bool)
    day_text, time = text.str.slice(0, 10), text.str.slice(10)
    shaped = day_text.str.fullmatch(_ISO_DAY) & ((time == "") | time.str.fullmatch(_TIME))
    stamp = pd.to_datetime(day_text.where(shaped), format="%Y-%m-%d", errors="coerce")
    good = stamp.notna().to_numpy(bool)
    if timed and (time[good] != "").any():
        time = time.str.replace(" ", "T", regex=False)
        time = time.str.replace(r"^T([0-9]{2}:[0-9]{2})($|Z|[+-])", r"T\1:00\2", regex=True)
        iso = day_text + time.mask(time == "T00:00:00", "")
    else:
        iso = day_text
    empty = (text == "").to_numpy(bool)
    return Dates(
        iso.where(good, ""),
        stamp.to_numpy().astype("datetime64[D]"),
        swappable,
        ~good & ~empty & ~swappable,
    )
