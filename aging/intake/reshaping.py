"""A laboratory's table and its matching to sheets as intake checks them, row numbers kept.

One column a property becomes a sheet of readings of its own, so that a finding names the header
and row of the laboratory. A cell left open in such a column was not read. Several columns of one
property and surface state are its spots: their mean is the value.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

import numpy as np
import pandas as pd

from aging.intake.cells import NOTHING, numbers
from aging.intake.matching import HANGING, KEPT, ORDERS, Match, Matching
from aging.intake.raw import Raw, plain
from aging.intake.synonyms import WEATHER_UNITS, word_for
from aging.intake.tables import ALL_ROWS, Table
from aging.records import SHEETS
from aging.vocabulary import PROPERTIES, UNIT_FACTORS

_PERCENT = r"\s*%$"
WORDS = {"property": "property", "surface_state": "surface_state", "role": "role"}


def reshaped(table: Table, matching: Matching) -> list[Raw]:
    """The sheets that a table holds: of readings one a property, and its panels where it tells."""
    base, names = _columns(table, matching)
    orders = {one.meaning: one.unit for one in matching.matches if one.unit in ORDERS}
    day_first = next((ORDERS[order] for order in orders.values()), None)

    def raw(sheet: str, cells: pd.DataFrame, told: dict[str, str], *notes: str) -> Raw:
        return Raw(sheet, table.file, cells, decimal_comma=table.decimal_comma, notes=notes,
                   names=told, day_first=day_first)  # fmt: skip

    if matching.sheet == "weather":
        base = _in_our_units(table, base, matching)
    if matching.sheet != "readings":
        return [raw(matching.sheet, base, names)]
    raws = [raw("panels", hung, names) for hung in _panels(base)]
    base = base.drop(columns=[name for name in _HUNG if name in base])
    if not matching.measured:
        return [*raws, raw("readings", base, names)]
    wide = [one for one in matching.matches if matching.of_property(one)]
    for _, alike in groupby(sorted(wide, key=_kind), key=_kind):
        group = list(alike)
        cells, left = _long(table, base, group)
        header = " + ".join(one.header for one in group)
        told = names | dict.fromkeys(("value", "unit", "property", "spot_values"), header)
        note = [f"{table.file}: {header}: {left} open cells taken as not read"] if left else []
        raws.append(raw("readings", cells, told, *note))
    return raws


def _in_our_units(table: Table, base: pd.DataFrame, matching: Matching) -> pd.DataFrame:
    """Weather in the units of its sheet; a cell that is no number stays as it is."""
    base = base.copy()
    for one in matching.matches:
        factor = WEATHER_UNITS.get(one.meaning, {}).get(one.unit, 1.0)
        if factor != 1.0:
            values, _ = numbers(base[one.meaning].str.strip(), decimal_comma=table.decimal_comma)
            told = pd.Series([f"{value:.12g}" for value in values * factor], base.index)
            base[one.meaning] = base[one.meaning].mask(np.isfinite(values), told)
    return base


_HUNG = tuple(name for name in SHEETS["panels"].names
              if name not in (*SHEETS["readings"].names, *PROPERTIES))  # fmt: skip


def _kind(match: Match) -> tuple[str, str, str]:
    return match.meaning, match.surface_state, match.unit


def _columns(table: Table, matching: Matching) -> tuple[pd.DataFrame, dict[str, str]]:
    """Columns under our names, those kept under their own; and the headers of ours."""
    names, cells = {}, {}
    for one in matching.matches:
        if one.meaning == "" or matching.of_property(one):
            continue
        if one.header == ALL_ROWS:
            cells[one.meaning] = pd.Series(one.value, table.cells.index, dtype="str")
            continue
        header = _found(table, one.header)
        name = header if one.meaning == KEPT else one.meaning
        names[name], column = header, table.cells[header]
        cells[name] = (
            column.map(lambda cell, k=WORDS[name]: word_for(k, cell)) if name in WORDS else column
        )
    return pd.DataFrame(cells, index=table.cells.index, dtype="str"), names


def _found(table: Table, header: str) -> str:
    return next(one for one in table.headers if plain(one) == plain(header))


def _panels(base: pd.DataFrame) -> Iterable[pd.DataFrame]:
    """The panels that a table of readings tells, the first row of each."""
    if {"panel", *HANGING} <= set(base):
        hung = base[[name for name in SHEETS["panels"].names if name in base and name != "remark"]]
        yield hung[~hung.duplicated() & (hung["panel"].str.strip() != "")]


def _long(table: Table, base: pd.DataFrame, group: Sequence[Match]) -> tuple[pd.DataFrame, int]:
    """Rows of one property with a value, and how many had none."""
    first = group[0]
    read = pd.DataFrame({at: table.cells[_found(table, one.header)].str.strip()
                         for at, one in enumerate(group)})  # fmt: skip
    open_ = read.apply(lambda column: column.str.lower().isin(("", *NOTHING)))
    read = read.mask(open_, "")
    rows = ~open_.all(axis=1)
    read, base = read[rows], base[rows]
    percent = read.apply(lambda column: column.str.contains(_PERCENT)).any(axis=1)
    read = read.apply(lambda column: column.str.replace(_PERCENT, "", regex=True))
    unit = base["unit"] if "unit" in base and not first.unit else first.unit
    more = {"property": first.meaning, "value": read[0],
            "unit": pd.Series(unit, base.index, dtype="str").mask(percent, "%")}  # fmt: skip
    if first.surface_state:
        more["surface_state"] = first.surface_state
    if len(group) > 1:
        more |= _spots(table, read, more["unit"], first.meaning)
    return base.assign(**more).astype("str"), int((~rows).sum())


def _spots(
    table: Table, read: pd.DataFrame, unit: pd.Series, prop: str
) -> dict[str, pd.Series | str]:
    """Mean, spots and their spread; a row with a cell that is no number keeps that cell."""
    shape, text = read.shape, pd.Series(read.to_numpy().ravel(), dtype="str")
    flat, bad = numbers(text, decimal_comma=table.decimal_comma)
    values, wrong = flat.reshape(shape), bad.reshape(shape)
    count = np.isfinite(values).sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.nansum(values, axis=1) / count
        spread = np.sqrt(np.nansum((values - mean[:, None]) ** 2, axis=1) / (count - 1))
    factors = UNIT_FACTORS[PROPERTIES[prop].unit]
    factor = np.array([factors.get(one.lower(), 1.0) for one in unit])
    spots = [" ".join(f"{one:.12g}" for one in row[np.isfinite(row)])
             for row in values * factor[:, None]]  # fmt: skip
    first_bad = read.to_numpy()[np.arange(len(read)), wrong.argmax(axis=1)]
    value = np.where(wrong.any(axis=1), first_bad, [f"{one:.12g}" for one in mean])
    enough = count > 1
    return {
        "value": pd.Series(value, read.index), "spot_values": pd.Series(spots, read.index),
        "spots": pd.Series(count.astype(str), read.index),
        "spot_sd": pd.Series(np.where(enough, [f"{one:.6g}" for one in spread], ""), read.index),
    }  # fmt: skip
