"""Columns that SHEETS does not name: kept as JSON text, a cell that is a number as a number.

In the formulations sheet a column whose name ends in a unit (silica_wt_pct, tio2_g_per_l) is
composition: its cells are numbers or missing.
"""

from __future__ import annotations

import json

import pandas as pd

from aging.intake.cells import numbers
from aging.intake.desk import Desk, missing
from aging.records import SHEETS
from aging.vocabulary import COMPOSITION

_CODE = r"[+-]?0[0-9]+.*"  # 0012 is a label, not twelve


def extra(desk: Desk) -> pd.Series:
    """JSON text of each row's other columns, missing where all of them are empty."""
    others = sorted(map(str, set(desk.raw.cells) - set(SHEETS[desk.raw.sheet].names)))
    if not others:
        return missing(desk.size)
    desk.notes.append(f"{desk.raw.file}: kept as extra facts: {', '.join(others)}")
    text = pd.Series("", index=range(desk.size), dtype="str")
    for name in others:
        text = text + _members(desk, name)
    return ("{" + text.str.slice(0, -2) + "}").mask(text == "")


def _members(desk: Desk, name: str) -> pd.Series:
    """`"name": value, ` for each row, empty where the cell is."""
    found = desk.read_words(name)
    values, bad = numbers(found.text, decimal_comma=desk.raw.decimal_comma)
    composition = desk.raw.sheet == "formulations" and COMPOSITION.fullmatch(name)
    if composition:
        desk.flag(
            "not-a-number", found.rows(bad), name, "a number or an empty cell",
            "type the number; the cell is kept as missing", severity="warn",
        )  # fmt: skip
    label = bad if composition else bad | found.text.str.fullmatch(_CODE).to_numpy(bool)
    key = json.dumps(name, ensure_ascii=False)
    cells = zip(found.text, values, bad, label, strict=True)
    members = [
        f"{key}: {json.dumps(word if text else float(value), ensure_ascii=False)}, "
        if word and not (composition and wrong)
        else ""
        for word, value, wrong, text in cells
    ]
    return pd.Series(members, dtype="str").take(found.codes).reset_index(drop=True)


def composition(formulations: pd.DataFrame) -> pd.DataFrame:
    """Numeric extra columns of a formulations frame, one row a formulation (the index)."""
    facts = [json.loads(text) if isinstance(text, str) else {} for text in formulations["extra"]]
    index = pd.Index(formulations["formulation"], name="formulation")
    return pd.DataFrame(facts, index=index).select_dtypes("number")
