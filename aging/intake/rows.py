"""Rules of one row against the other rows of its sheet and against the other sheets."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aging.intake.desk import Desk
from aging.records import SHEETS, empty_frame

SHEET_OF = {"site": "sites", "panel": "panels"}
NAMED = 10  # names in a note before it only counts


def repeats(desk: Desk, elsewhere: pd.DataFrame | None = None) -> None:
    """Refuse rows whose key an accepted row has already, in the sheet or in another file of it."""
    key = list(SHEETS[desk.raw.sheet].key)
    rows = np.flatnonzero(~desk.refused)
    keys = pd.DataFrame({name: desk.columns[name] for name in key}).iloc[rows]
    if elsewhere is not None and len(elsewhere):
        taken = pd.MultiIndex.from_frame(keys).isin(pd.MultiIndex.from_frame(elsewhere[key]))
        _repeat(desk, "duplicate", rows[taken], ["another file"] * int(taken.sum()))
        rows, keys = rows[~taken], keys[~taken]
    shared = keys.duplicated(keep=False).to_numpy(bool)
    if not shared.any():
        return
    rows, keys = rows[shared], keys[shared]
    later = keys.duplicated().to_numpy(bool)
    first = keys.assign(at=rows).groupby(key, dropna=False)["at"].transform("min").to_numpy()
    facts = pd.DataFrame(desk.columns).iloc[rows].astype("str").fillna("")
    same = (facts.to_numpy() == facts.loc[first].to_numpy()).all(axis=1)
    for code, mask in (("duplicate", later & same), ("conflicting-duplicate", later & ~same)):
        _repeat(desk, code, rows[mask], [f"row {n}" for n in desk.raw.cells.index[first[mask]]])


def _repeat(desk: Desk, code: str, rows: NDArray[np.intp], origin: list[str]) -> None:
    key = list(SHEETS[desk.raw.sheet].key)
    mask = np.zeros(desk.size, bool)
    mask[rows] = True
    parts = pd.DataFrame({name: _shown(desk.columns[name]) for name in key}).iloc[rows]
    desk.flag(
        code, mask, key[-1], [f"each {'/'.join(key)} once; see {place}" for place in origin],
        "keep the true row, remove the other", seen=["/".join(row) for row in parts.to_numpy()],
    )  # fmt: skip


def _shown(column: Any) -> pd.Series:
    """A key's column as text: numbers in few digits, what is missing empty."""
    cells = pd.Series(column)
    if pd.api.types.is_numeric_dtype(cells):
        return cells.map("{:g}".format, na_action="ignore").astype("str").fillna("")
    return cells.fillna("")


def closures(panels: Desk) -> None:
    """A panel closes after it was exposed."""
    early = panels.days["closed_on"] < panels.days["exposed_on"]
    panels.flag(
        "closed-before-exposed", early, "closed_on", "exposed_on or later", "correct the dates"
    )


def named(desk: Desk, column: str, known: pd.Series, code: str) -> None:
    """Refuse rows that name a site or panel which no accepted row of its own sheet names."""
    found = desk.words.get(column)
    if found is None:
        return
    where = f"a {column} of the {SHEET_OF[column]} sheet"
    unknown = found.rows(~found.text.isin(known) & (found.text != ""))
    if column == "site" and desk.raw.site is not None and unknown.any():
        desk.block(code, column, desk.raw.site, where, "name the file after its site")
    else:
        desk.flag(code, unknown, column, where, f"correct the {column} or add it there")


def completed(facts: Desk | None, sheet: str, panels: Desk) -> tuple[pd.DataFrame, list[str]]:
    """The sites or formulations frame with a row for each that only the panels name; and notes.

    Where the sheet is there and lacks one, the first panel row that names it gets a warning.
    """
    column = SHEETS[sheet].key[0]
    used = panels.columns[column].mask(panels.refused)
    names = used.dropna().drop_duplicates()
    if facts is not None:
        names = names[~names.isin(facts.columns[column].mask(facts.refused))]
        first = np.zeros(panels.size, bool)
        first[names.index] = True
        panels.flag(
            f"unknown-{column}", first, column, f"a {column} of {facts.raw.file}",
            "add it there or correct the name", severity="warn",
        )  # fmt: skip
    made = empty_frame(sheet).reindex(range(len(names))).assign(**{column: names.array})
    frame = pd.concat([made[:0] if facts is None else facts.frame(), made], ignore_index=True)
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    told = f"{sheet}: made from the panels: {', '.join(names[:NAMED])}{more}"
    return frame, [told] if len(names) else []
