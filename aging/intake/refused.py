"""The rows that were refused, with the reasons, as a table to mend them in."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from aging.intake.desk import Desk

FIRST = ("file", "row", "reasons")


def refused_rows(desks: Sequence[Desk]) -> pd.DataFrame:
    """Each refused row's cells under their headers, after file, row and reasons."""
    parts = [_of_desk(desk) for desk in desks if desk.refused.any() and not desk.raw.broken]
    if not parts:
        return pd.DataFrame(columns=list(FIRST))
    rows = pd.concat(parts).fillna("").astype({"row": int})
    return rows[rows["row"] > 0].reset_index(drop=True)


def _of_desk(desk: Desk) -> pd.DataFrame:
    cells = desk.raw.cells[desk.refused]
    reasons: dict[int | None, list[str]] = {}
    for one in desk.findings:
        if one.severity == "block":
            why = f"{one.column}: {one.seen or 'empty'}; allowed: {one.allowed}; {one.action}"
            reasons.setdefault(one.row, []).append(why)
    whole = reasons.get(None, [])
    told = [" | ".join([*whole, *reasons.get(row, [])]) for row in cells.index]
    frame = cells.drop(columns=[name for name in FIRST if name in cells])
    first = pd.DataFrame({"file": desk.raw.file, "row": cells.index, "reasons": told}, cells.index)
    return pd.concat([first, frame], axis="columns")
