"""The shelf of the sample: its instruments, and what they read on their tiles.

A tile is smooth and stays as it is: it shows the drift since the last calibration and a quarter of
the noise of a spot on a panel. A colour meter reads three properties and has no tile here, as a
check names none of them. Serials, tiles and magnitudes are assumed for the demo.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from aging.records import Exposure
from aging.simulation.appearance import SIMULATED
from aging.simulation.effects import CALIBRATED_EVERY_DAYS
from aging.simulation.sheets import as_sheet
from aging.vocabulary import CHECK_STAGES, PROPERTIES

KINDS = {
    "SR-11": "solar reflectometer", "TE-04": "emissometer", "CM-02": "colour meter",
    "GL-03": "gloss meter, 60 deg", "SP-05": "spectrophotometer with sphere",
}  # fmt: skip
TILES = {"solar_reflectance": 0.80, "thermal_emittance": 0.88, "gloss_60": 93.0}
TILE_SPREAD = 0.02  # of the level, between tiles
HOURS = ("08:00", "11:30", "15:00")  # of CHECK_STAGES
QUIETER = 0.25  # than a spot on a panel


def instruments_of(exposure: Exposure, rng: np.random.Generator) -> pd.DataFrame:
    """A row an instrument that read anything, due half a year after its last calibration."""
    used = exposure.readings[["instrument", "panel", "property", "weighting"]]
    used = pd.concat([used, exposure.spectra[["instrument", "panel"]]]).dropna(subset="instrument")
    used = used.merge(exposure.panels[["panel", "site"]], on="panel")
    events = exposure.events[exposure.events["kind"] == "instrument"]
    last = pd.to_datetime(events["on"]).groupby(events["site"]).max()
    due = used["site"].map(last + pd.Timedelta(days=CALIBRATED_EVERY_DAYS))
    each = used.assign(due=due).groupby("instrument").agg(
        due=("due", "max"), property=("property", "first"), weighting=("weighting", "first"),
        laboratory=("site", lambda sites: " and ".join(sorted(set(sites)))),
    )  # fmt: skip
    level = each["property"].map(TILES)
    value = level * (1 + TILE_SPREAD * rng.uniform(-1, 1, len(each)))
    tile = "T-" + each.index.to_series()
    return as_sheet(
        "instruments",
        {
            "instrument": each.index,
            "kind": each.index.str[:5].map(KINDS),
            "serial": rng.permutation(np.arange(2000, 9000, 7))[: len(each)].astype(str),
            "calibration_due": each["due"].dt.strftime("%Y-%m-%d"),
            "tile": tile.where(level.notna()),
            "tile_value": _rounded(value, each["property"]),
            "weighting": each["weighting"],
            "laboratory": each["laboratory"],
        },
    )


def checks_of(
    exposure: Exposure, instruments: pd.DataFrame, drift: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """Tile checks before, during and after each visit at which an instrument with a tile read.

    drift: as in `Campaign`.
    """
    readings = exposure.readings[exposure.readings["property"].isin(TILES)]
    readings = readings.merge(exposure.panels[["panel", "site"]], on="panel")
    visits = readings.drop_duplicates(["instrument", "read_on"])
    visits = visits[["instrument", "site", "read_on", "property", "operator"]]
    long = drift.melt(["site", "read_on"], list(TILES), "property", "off")
    stages = pd.DataFrame({"stage": CHECK_STAGES, "hour": HOURS})
    rows = visits.merge(long, on=["site", "read_on", "property"]).merge(stages, how="cross")
    rows = rows.sort_values(["read_on", "instrument", "hour"], ignore_index=True)
    own = instruments.set_index("instrument").loc[rows["instrument"]].set_axis(rows.index)
    spot = rows["property"].map({name: SIMULATED[name].spot for name in TILES})
    noise = QUIETER * spot * rng.standard_normal(len(rows))
    return as_sheet(
        "instrument_checks",
        {
            "instrument": rows["instrument"],
            "at": rows["read_on"] + "T" + rows["hour"],
            "stage": rows["stage"],
            "tile": own["tile"],
            "certified": own["tile_value"],
            "value": _rounded(own["tile_value"] + rows["off"] + noise, rows["property"]),
            "operator": rows["operator"],
        },
    )


def _rounded(values: pd.Series, properties: pd.Series) -> list[float]:
    """To what the display of the instrument shows."""
    return [
        round(value, PROPERTIES[name].decimals) if name in PROPERTIES else float("nan")
        for value, name in zip(values, properties, strict=True)
    ]
