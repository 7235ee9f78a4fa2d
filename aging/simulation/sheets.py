"""The papers of a campaign: its log and weather as the sheets of an exposure (aging.records)."""

from __future__ import annotations

import json
from collections.abc import Mapping

import numpy as np
import pandas as pd

from aging.records import Exposure, empty_frame
from aging.simulation.appearance import SIMULATED
from aging.simulation.effects import CALIBRATED_EVERY_DAYS, Rounds
from aging.simulation.scenario import Design
from aging.simulation.weather import CLIMATES, Array
from aging.vocabulary import PROPERTIES

DUST_TIMES_USUAL, STORM_MM, DIP = 4.0, 60.0, -2.5
DIP_CAUSES = ("mowing", "works", "pollen")
OPERATORS = ("op1", "op2", "op3")


def exposure_of(
    design: Design,
    log: pd.DataFrame,
    rounds: Rounds,
    weather: dict[str, Array],
    papers: np.random.Generator,
) -> Exposure:
    """All sheets; weather and events end with each site's last visit that took place."""
    panels = _panels(design, rounds, papers)
    return Exposure(
        sites=as_sheet("sites", pd.DataFrame([vars(site) for site in design.sites])),
        formulations=_formulations(design),
        panels=as_sheet("panels", panels.reset_index(drop=True)),
        readings=_readings(design, log, panels["panel"], rounds, papers),
        events=_events(design, rounds, weather, papers),
        weather=_weather(design, rounds, weather),
    )


def as_sheet(name: str, frame: pd.DataFrame | Mapping[str, object]) -> pd.DataFrame:
    """Give a frame the columns and types of a sheet; what it lacks is missing."""
    empty = empty_frame(name)
    return pd.DataFrame(frame).reindex(columns=empty.columns).astype(empty.dtypes.to_dict())


def natural_key(readings: pd.DataFrame) -> pd.Series:
    """The id of a reading without one: panel/read_on/property/surface_state[/instrument]."""
    key: pd.Series = readings["panel"]
    for name in ("read_on", "property", "surface_state"):
        key = key + "/" + readings[name]
    return key + ("/" + readings["instrument"]).fillna("")


def _formulations(design: Design) -> pd.DataFrame:
    rows = []
    for blend in design.formulations:
        parts = {
            "silica_wt_pct": float(blend.silica_wt_pct),
            "hollow_sphere_vol_pct": float(blend.hollow_sphere_vol_pct),
        }
        text = f"{parts['silica_wt_pct']:g} % silica, {parts['hollow_sphere_vol_pct']:g} % spheres"
        rows.append((blend.formulation, blend.role, text, json.dumps(parts, sort_keys=True)))
    names = ("formulation", "role", "description", "extra")
    return as_sheet("formulations", pd.DataFrame(rows, columns=names))


def _panels(design: Design, rounds: Rounds, papers: np.random.Generator) -> pd.DataFrame:
    """Panels indexed by the log's counts of site, formulation and member."""
    shape = (len(design.sites), len(design.formulations), design.panels + design.file_specimens)
    site, blend, member = np.indices(shape).reshape(3, -1)
    outside = member < design.panels
    names = np.array([place.site for place in design.sites])[site]
    blends = np.array([coat.formulation for coat in design.formulations])[blend]
    number = np.where(outside, member, member - design.panels) + 1
    ids = [
        f"{place}-{what}-{'' if out else 'F'}{count}"
        for place, what, out, count in zip(names, blends, outside, number, strict=True)
    ]
    exposed = shape[1] * design.panels
    slots = np.concatenate([papers.permutation(exposed) for _ in design.sites])
    position = np.full(len(ids), "", dtype=object)
    position[outside] = [f"r{slot // 6 + 1}c{slot % 6 + 1}" for slot in slots]
    frame = pd.DataFrame(
        {
            "panel": ids,
            "formulation": blends,
            "site": names,
            "exposed_on": rounds.start.astype(str)[site],
            "replicate": number,
            "rack": np.where(outside, design.rack, ""),
            "position": position,
            "tilt_deg": np.where(outside, 5.0, np.nan),
            "azimuth_deg": np.where(outside, 180.0, np.nan),
            "backing": np.where(outside, "insulated", ""),
            "substrate": "primed aluminium",
            "dry_film_um": papers.normal(600, 25, len(ids)).round(),
            "kind": np.where(outside, "exposed", "file_specimen"),
            "closed_on": (rounds.start + rounds.last).astype(str)[site] if design.closed else "",
        }
    )
    return frame.replace("", np.nan).set_index([site, blend, member + 1])


def _readings(
    design: Design,
    log: pd.DataFrame,
    panels: pd.Series,
    rounds: Rounds,
    papers: np.random.Generator,
) -> pd.DataFrame:
    dates = rounds.start[:, None] + rounds.visited
    site, visit = log["site"].to_numpy(), log["visit"].to_numpy()
    looks = log["property"].map(SIMULATED)
    instrument = [
        f"{look.instrument}{chr(65 + place)}" if look.instrument else np.nan
        for look, place in zip(looks, site, strict=True)
    ]
    operator = papers.choice(OPERATORS, dates.shape)
    spots = np.where(looks.map(lambda look: bool(look.instrument)), design.spots, np.nan)
    where = pd.MultiIndex.from_frame(log[["site", "formulation", "member"]])
    readings = log[["property", "surface_state", "value", "spot_sd"]].assign(
        panel=panels.loc[where].to_numpy(),
        read_on=dates.astype(str)[site, visit],
        unit=log["property"].map(lambda name: PROPERTIES[name].unit),
        spots=spots,
        instrument=instrument,
        weighting=looks.map(lambda look: look.weighting or np.nan),
        operator=operator[site, visit],
    )
    readings = as_sheet("readings", readings)
    readings["reading_id"] = natural_key(readings)
    order = ["read_on", "panel", "property", "surface_state"]
    return readings.sort_values(order, ignore_index=True)


def _events(
    design: Design,
    rounds: Rounds,
    weather: dict[str, Array],
    papers: np.random.Generator,
) -> pd.DataFrame:
    rows: list[tuple[object, ...]] = []
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
            (str(rounds.start[index] + day), kind, site.site, remark)
            for kind, days, remark in found
            for day in days
        ]
    events = as_sheet("events", pd.DataFrame(rows, columns=["on", "kind", "site", "remark"]))
    return events.sort_values(["on", "site", "kind"], ignore_index=True)


def _weather(design: Design, rounds: Rounds, weather: dict[str, Array]) -> pd.DataFrame:
    if not design.weather:
        return empty_frame("weather")
    parts = [
        pd.DataFrame(
            {name: column[: rounds.last[index] + 1, index] for name, column in weather.items()}
        ).assign(
            site=site.site,
            date=(rounds.start[index] + np.arange(rounds.last[index] + 1)).astype(str),
        )
        for index, site in enumerate(design.sites)
    ]
    return as_sheet("weather", pd.concat(parts, ignore_index=True))
