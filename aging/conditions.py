"""Which readings may stand in one series: read outdoors, not excluded, under one set of conditions.

A condition that a reading does not state is taken as that of the others.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from types import MappingProxyType

import pandas as pd

from aging.records import Exposure
from aging.vocabulary import PROPERTIES

COLOUR = ("illuminant", "observer_deg", "geometry")
HELD_UNDER: MappingProxyType[str, tuple[str, ...]] = MappingProxyType(
    {
        "solar_reflectance": ("weighting",),
        **{name: ("method",) for name, prop in PROPERTIES.items() if prop.scale == "ordinal"},
        **dict.fromkeys(("lightness", "a_star", "b_star", "yellowness_index"), COLOUR),
    }
)


def comparable(exposure: Exposure) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Readings that may stand together, under their own index, and notes on those left out.

    At each site a property keeps its commonest conditions, or of two that are as common those
    read first.
    """
    readings, notes = exposure.readings, []
    last = exposure.settlements.drop_duplicates("finding", keep="last")
    excluded = last.loc[last["decision"] == "excluded", "reading_id"].dropna()
    evidence = readings["evidence"]
    for out, told in (
        (readings["reading_id"].isin(excluded), "excluded by decision"),
        (evidence.notna() & (evidence != "outdoor"), "of laboratory soiling or slurry tests"),
    ):
        if out.any():
            readings = readings[~out.reindex(readings.index)]
            notes.append(f"{out.sum()} readings {told} left out")
    site = exposure.panels.set_index("panel")["site"]
    odd: list[pd.Index] = []
    for name in sorted(set(readings["property"].unique()) & set(HELD_UNDER)):
        columns = list(HELD_UNDER[name])
        mine = readings.loc[readings["property"] == name, ["panel", "read_on", *columns]]
        if mine[columns].nunique().max() > 1:
            out_of_line, told_of = _sorted_out(name, mine.assign(site=mine["panel"].map(site)))
            odd.append(out_of_line)
            notes += told_of
    if odd:
        readings = readings.drop(index=odd[0].append(odd[1:]))
    return readings, tuple(notes)


def _sorted_out(name: str, readings: pd.DataFrame) -> tuple[pd.Index, list[str]]:
    """Index of the readings of a property that hold under other conditions than their site's."""
    columns = list(HELD_UNDER[name])
    readings = readings[readings["site"].notna()]
    readings = readings.assign(day=pd.factorize(readings["read_on"], sort=True)[0])
    alike = readings.groupby(["site", *columns], dropna=False)
    kinds = alike["day"].agg(["size", "min"]).reset_index()
    kinds = kinds.sort_values(["size", "min"], ascending=[False, True])
    held: dict[str, dict[str, object]] = defaultdict(dict)
    left: dict[int, tuple[str, int, dict[str, object]]] = {}
    for place, kind in zip(kinds.index.tolist(), kinds.to_dict("records"), strict=True):
        stated = {column: kind[column] for column in columns if pd.notna(kind[column])}
        own = held[kind["site"]]
        if all(own.get(column, value) == value for column, value in stated.items()):
            own.update(stated)
        else:
            left[place] = kind["site"], kind["size"], stated
    counts: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for site, size, stated in left.values():
        counts[_told(stated), _told(held[site])][site] += size
    notes = [
        f"{sites.total()} readings of {name} under {other} left out at {', '.join(sites)}: "
        f"the series there holds under {own}"
        for (other, own), sites in counts.items()
    ]
    if any(len({own.get(column) for own in held.values()} - {None}) > 1 for column in columns):
        at = defaultdict(list)
        for site, own in held.items():
            at[_told(own)].append(site)
        parts = (f"under {own} at {', '.join(sites)}" for own, sites in at.items())
        notes.append(f"{name} holds {'; '.join(parts)}: a mean over these sites mixes them")
    return readings.index[alike.ngroup().isin(left)], notes


def _told(conditions: Mapping[str, object]) -> str:
    return ", ".join(
        f"{value:g} deg" if isinstance(value, float) else str(value)
        for value in conditions.values()
    )
