"""Facts that a store holds already stand beside those of a file, so that a file may name them.

They take part in the rules and in nothing else: what is read holds the file's own rows.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from aging.intake.desk import Desk
from aging.intake.raw import STORED, Raw
from aging.records import SHEETS, Exposure

STANDING = ("sites", "formulations", "panels")


def with_known(raws: list[Raw], known: Exposure | None) -> list[Raw]:
    """The sheets with rows of the store below; several sheets of panels become one."""
    others = [raw for raw in raws if raw.sheet not in STANDING]
    made = []
    for sheet in STANDING:
        mine = [raw for raw in raws if raw.sheet == sheet]
        if len(mine) > 1:
            mine = [_together(mine)]
        if known is not None:
            mine = [_below(mine[0] if mine else Raw(sheet, "the store"), sheet, known)]
        made += mine
    return [*made, *others]


def own_rows(frame: pd.DataFrame, desk: Desk, known: Exposure) -> pd.DataFrame:
    """Rows of a checked sheet that the file brings, or that are made from what it brings."""
    key, cells = SHEETS[desk.raw.sheet].key[0], desk.raw.cells
    brought = cells.loc[cells.index != STORED, key].str.strip() if key in cells else ()
    there = frame[key].isin(getattr(known, desk.raw.sheet)[key])
    return frame[~there | frame[key].isin(brought)].reset_index(drop=True)


def _together(raws: list[Raw]) -> Raw:
    cells = pd.concat([raw.cells for raw in raws]).fillna("")
    return replace(raws[0], cells=cells[~cells.duplicated()])


def _below(raw: Raw, sheet: str, known: Exposure) -> Raw:
    if raw.broken:
        return raw
    frame = getattr(known, sheet).drop(columns="extra")
    key = SHEETS[sheet].key[0]
    if key in raw.cells:
        frame = frame[~frame[key].isin(raw.cells[key].str.strip())]
    numbers = frame.select_dtypes("number")
    told = {name: numbers[name].map("{:.12g}".format, na_action="ignore") for name in numbers}
    text = frame.assign(**told).astype("str").fillna("").replace("nan", "")
    text.index = pd.Index([STORED] * len(text))
    if not len(raw.cells.columns):
        return replace(raw, cells=text)
    columns = [
        name for name in (*raw.cells, *text) if name in raw.cells or (text[name] != "").any()
    ]
    cells = pd.concat([raw.cells, text]).reindex(columns=list(dict.fromkeys(columns)))
    return replace(raw, cells=cells.fillna("").astype("str"))
