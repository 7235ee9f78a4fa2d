"""Yellowness index (ASTM E313) of panels whose L*, a*, b* were read and which itself was not.

It is calculated where the three were read on the same panel at the same moment in the same surface
state, at sites whose colour readings all state one illuminant and observer that E313 has
coefficients for. What was measured is kept.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from aging.conditions import COLOUR, comparable
from aging.optics.colour import YELLOWNESS, Conditions, colour_of_readings, yellowness_index
from aging.records import Exposure
from aging.spectra import LAB

YELLOWNESS_INDEX = "yellowness_index"
KEYS = ["panel", "read_on", "surface_state"]
KEPT = [*KEYS, *COLOUR, "instrument", "operator", "evidence"]


def completed(exposure: Exposure) -> tuple[Exposure, tuple[str, ...]]:
    """The exposure with the yellowness indices that can be calculated, and a note on them."""
    readings = exposure.readings
    colours = readings[readings["property"].isin([*LAB, YELLOWNESS_INDEX])]
    colours = comparable(replace(exposure, readings=colours))[0]
    colours = colours.merge(exposure.panels[["panel", "site"]], on="panel")
    made = [rows for _, site in colours.groupby("site") if len(rows := _calculated(site))]
    if not made:
        return exposure, ()
    count = sum(map(len, made))
    whole = pd.concat([readings, *made], ignore_index=True)
    told = f"{count} yellowness indices calculated from L*, a*, b* (ASTM E313)"
    return replace(exposure, readings=whole), (told,)


def _calculated(colours: pd.DataFrame) -> pd.DataFrame:
    """Readings of yellowness that one site's colours lack; none where conditions are not one."""
    none = colours[KEPT][:0]
    stated = [colours[name].dropna().unique() for name in ("illuminant", "observer_deg")]
    if any(len(known) != 1 for known in stated):
        return none
    illuminant, observer = str(stated[0][0]), int(stated[1][0])
    if (illuminant, observer) not in YELLOWNESS:
        return none
    table = colours.pivot_table(index=KEYS, columns="property", values="value")
    table = table.reindex(columns=[*LAB, YELLOWNESS_INDEX])
    lab = table.loc[table[YELLOWNESS_INDEX].isna(), list(LAB)].dropna()
    if lab.empty:
        return none
    colour = colour_of_readings(lab.to_numpy(), Conditions(illuminant, observer))
    found = pd.DataFrame({"value": yellowness_index(colour)}, index=lab.index).reset_index()
    facts = colours[colours["property"] == LAB[0]].drop_duplicates(KEYS)[KEPT]
    return facts.merge(found, on=KEYS).assign(property=YELLOWNESS_INDEX, unit="1")
