"""The papers of a campaign: its log and weather as the sheets of an exposure (aging.records)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from aging.records import Exposure, empty_frame
from aging.simulation.appearance import SIMULATED
from aging.simulation.courses import MECHANISTIC
from aging.simulation.effects import CALIBRATED_EVERY_DAYS, Rounds
from aging.simulation.scenario import Design
from aging.simulation.weather import CLIMATES, Array, Flag
from aging.simulation.words import ranks, spelt
from aging.vocabulary import PROPERTIES

DUST_TIMES_USUAL, STORM_MM, DIP = 4.0, 60.0, -2.5
DIP_CAUSES = ("mowing", "works", "pollen")
OPERATORS = ("op1", "op2", "op3")
FIRST_BATCH = 2  # panels of a site from the first batch of paint, the further ones from the second


def exposure_of(
    design: Design,
    log: pd.DataFrame,
    rounds: Rounds,
    present: Flag,
    weather: dict[str, Array],
    *,
    papers: np.random.Generator,
) -> Exposure:
    """All sheets; weather and events end with each site's last visit that took place."""
    ids = _ids(design)
    return Exposure(
        sites=as_sheet("sites", dict(pd.DataFrame([vars(site) for site in design.sites]))),
        formulations=_formulations(design),
        panels=_panels(design, ids, rounds, present, papers),
        readings=_readings(design, log, ids, rounds, papers),
        events=_events(design, rounds, weather, papers),
        weather=_weather(design, rounds, weather),
    )


def as_sheet(name: str, columns: Mapping[str, Any]) -> pd.DataFrame:
    """Give columns (arrays or lists by name) the order and types of a sheet.

    What is lacking is missing.
    """
    rows = len(next(iter(columns.values())))
    blank = {"str": pd.array([None] * rows, dtype="str"), "float64": np.full(rows, np.nan)}
    return pd.DataFrame(
        {
            column: pd.array(columns[column], dtype=kind) if column in columns else blank[kind]
            for column, kind in _types(name).items()
        }
    )


@cache
def _types(name: str) -> dict[str, str]:
    return {str(column): str(kind) for column, kind in empty_frame(name).dtypes.items()}


def natural_key(readings: pd.DataFrame) -> pd.Series:
    """The id of a reading without one: panel/read_on/property/surface_state[/instrument]."""
    key: pd.Series = readings["panel"]
    for name in ("read_on", "property", "surface_state"):
        key = key + "/" + readings[name]
    return key + ("/" + readings["instrument"]).fillna("")


def _formulations(design: Design) -> pd.DataFrame:
    """Composition stands where it acts."""
    blends = design.formulations
    columns = {
        "formulation": [blend.formulation for blend in blends],
        "role": [blend.role for blend in blends],
    }
    if design.course == MECHANISTIC:
        parts = [
            {
                "silica_wt_pct": float(blend.silica_wt_pct),
                "hollow_sphere_vol_pct": float(blend.hollow_sphere_vol_pct),
            }
            for blend in blends
        ]
        columns["description"] = [
            "{silica_wt_pct:g} % silica, {hollow_sphere_vol_pct:g} % spheres".format(**part)
            for part in parts
        ]
        columns["extra"] = [json.dumps(part, sort_keys=True) for part in parts]
    return as_sheet("formulations", columns)


def _ids(design: Design) -> list[str]:
    """Ids of all panels, then file specimens, of each site and formulation in turn."""
    labels = [str(count + 1) for count in range(design.panels)]
    labels += [f"F{count + 1}" for count in range(design.file_specimens)]
    return [
        f"{site.site}-{blend.formulation}-{label}"
        for site in design.sites
        for blend in design.formulations
        for label in labels
    ]


def _panels(
    design: Design, ids: list[str], rounds: Rounds, present: Flag, papers: np.random.Generator
) -> pd.DataFrame:
    shape = (len(design.sites), len(design.formulations), design.panels + design.file_specimens)
    site, blend, member = np.indices(shape).reshape(3, -1)
    outside = member < design.panels
    exposed = shape[1] * design.panels
    slots = np.concatenate([papers.permutation(exposed) for _ in design.sites])
    position = np.full(len(ids), None, dtype=object)
    position[outside] = [f"r{slot // 6 + 1}c{slot % 6 + 1}" for slot in slots]
    film = papers.normal(600, 25, len(ids)).round()
    closed = (rounds.start + rounds.last).astype(str)
    panels = as_sheet(
        "panels",
        {
            "panel": ids,
            "formulation": spelt([coat.formulation for coat in design.formulations], blend),
            "site": spelt([place.site for place in design.sites], site),
            "exposed_on": spelt(rounds.start.astype(str), site),
            "replicate": np.where(outside, member, member - design.panels) + 1,
            "paint_batch": spelt(
                [f"{coat.formulation}-{letter}" for coat in design.formulations for letter in "AB"],
                2 * blend + (outside & (member >= FIRST_BATCH)),
            ),
            "rack": spelt([None, design.rack], outside.astype(int)),
            "position": position,
            "tilt_deg": np.where(outside, 5.0, np.nan),
            "azimuth_deg": np.where(outside, 180.0, np.nan),
            "backing": spelt([None, "insulated"], outside.astype(int)),
            "substrate": ["primed aluminium"] * len(ids),
            "dry_film_um": film,
            "kind": spelt(["file_specimen", "exposed"], outside.astype(int)),
            "closed_on": spelt(closed if design.closed else [None] * shape[0], site),
        },
    )
    return panels[present[..., 1:].ravel()].reset_index(drop=True)


def _readings(
    design: Design,
    log: pd.DataFrame,
    ids: list[str],
    rounds: Rounds,
    papers: np.random.Generator,
) -> pd.DataFrame:
    day = rounds.start[:, None] + rounds.visited
    operator = papers.choice(len(OPERATORS), day.shape)
    looks = [SIMULATED[name] for name in design.properties]
    row = {name: log[name].to_numpy() for name in log}
    blend = row["site"] * len(design.formulations) + row["formulation"]
    row["panel"] = blend * (len(ids) // (len(design.sites) * len(design.formulations)))
    row["panel"] += row["member"] - 1
    row["day"] = day[row["site"], row["visit"]].astype(int)
    order = np.lexsort((
        row["washed"], ranks(design.properties)[row["property"]], ranks(ids)[row["panel"]],
        row["day"],
    ))  # fmt: skip
    row = {name: column[order] for name, column in row.items()}
    days, on = np.unique(row["day"], return_inverse=True)
    prop, site = row["property"], row["site"]
    instruments = [
        f"{look.instrument}{chr(65 + place)}" if look.instrument else None
        for look in looks
        for place in range(len(design.sites))
    ]
    spots = np.array([design.spots if look.instrument else np.nan for look in looks])
    readings = as_sheet(
        "readings",
        {
            "panel": spelt(ids, row["panel"]),
            "read_on": spelt(days.astype("datetime64[D]").astype(str), on),
            "property": spelt(design.properties, prop),
            "value": row["value"],
            "unit": spelt([PROPERTIES[name].unit for name in design.properties], prop),
            "surface_state": spelt(["as_exposed", "washed"], row["washed"]),
            "spot_sd": row["spot_sd"],
            "spots": spots[prop],
            "instrument": spelt(instruments, prop * len(design.sites) + site),
            **{
                name: spelt([look.conditions.get(name) for look in looks], prop)
                for name in ("weighting", "method", "illuminant", "geometry")
            },
            "observer_deg": np.array(
                [float(look.conditions.get("observer_deg", "nan")) for look in looks]
            )[prop],
            "operator": spelt(OPERATORS, operator[site, row["visit"]]),
        },
    )
    readings["reading_id"] = natural_key(readings)
    return readings


def _events(
    design: Design,
    rounds: Rounds,
    weather: dict[str, Array],
    papers: np.random.Generator,
) -> pd.DataFrame:
    rows: list[tuple[str, ...]] = []
    for index, site in enumerate(design.sites):
        end = rounds.last[index] + 1
        pm10, rain = weather["pm10_ug_m3"][:end, index], weather["rain_mm"][:end, index]
        dusty = pm10 > DUST_TIMES_USUAL * CLIMATES[site.climate].pm10
        dips = rounds.seen[index] & (rounds.shared[index, : len(design.visits)] < DIP)
        found = [
            ("dust", np.flatnonzero(dusty & ~np.r_[False, dusty[:-1]]), "dust episode"),
            ("storm", np.flatnonzero(rain > STORM_MM), f"more than {STORM_MM:g} mm in a day"),
            ("instrument", np.arange(0, end, CALIBRATED_EVERY_DAYS), "calibrated"),
        ]
        found += [
            (str(papers.choice(DIP_CAUSES)), np.array([day]), "seen at the visit")
            for day in rounds.visited[index, dips]
        ]
        rows += [
            (str(rounds.start[index] + day), site.site, kind, remark)
            for kind, days, remark in found
            for day in days
        ]
    on, where, kinds, remarks = zip(*sorted(rows, key=lambda row: row[:3]), strict=True)
    return as_sheet("events", {"on": on, "site": where, "kind": kinds, "remark": remarks})


def _weather(design: Design, rounds: Rounds, weather: dict[str, Array]) -> pd.DataFrame:
    if not design.weather:
        return empty_frame("weather")
    site = np.repeat(np.arange(len(design.sites)), rounds.last + 1)
    day = np.concatenate([np.arange(last + 1) for last in rounds.last])
    since = (rounds.start - rounds.start.min()).astype(int)[site] + day
    return as_sheet(
        "weather",
        {
            "site": spelt([place.site for place in design.sites], site),
            "date": spelt((rounds.start.min() + np.arange(since.max() + 1)).astype(str), since),
            **{name: column[day, site] for name, column in weather.items()},
        },
    )
