"""A trial before its first reading: sites, formulations, panels in an order drawn by lot, visits.

Panels are named SITE-FORMULATION-1, file specimens SITE-FORMULATION-F1. Each site has one rack,
whose rows are blocks (`rack_map`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

import pandas as pd

from aging.errors import require
from aging.fieldwork.plan import MONTHS
from aging.fieldwork.rack_map import new_panels, positioned, rack_map
from aging.intake import checked
from aging.intake.raw import Raw
from aging.records import Intake, exposure_with

MOST = 2_000  # panels of a trial; beyond it a file is quicker than a form
RACK = "R1"


@dataclass(frozen=True)
class Trial:
    """What a trial is to be.

    sites: columns of the sheet sites, one row each. formulations: formulation, role, description
    and composition columns with the unit as suffix (silica_wt_pct). replicates: exposed panels of
    each formulation at each site; filed: file specimens likewise. rows: of each rack. months: of
    the planned visits. seed: equal seeds draw equal racks. reflectometer: name, and the weighting
    and the last day of its calibration where known; without a name no instrument is kept.
    """

    sites: pd.DataFrame
    formulations: pd.DataFrame
    exposed_on: str
    replicates: int = 3
    filed: int = 1
    rows: int = 3
    months: Sequence[float] = MONTHS
    tilt_deg: float = 5.0
    azimuth_deg: float = 180.0
    seed: int = 0
    reflectometer: str = ""
    weighting: str = ""
    calibration_due: str = ""


def new_trial(trial: Trial) -> Intake:
    """The sheets of a trial, held to the rules of any file; what is wrong is in the findings.

    CallError for a trial without a site or formulation, or with more than MOST panels.
    """
    sites, formulations = _named(trial.sites, "site"), _named(trial.formulations, "formulation")
    names = formulations["formulation"].drop_duplicates().tolist()
    count = len(sites) * len(names) * (trial.replicates + trial.filed)
    require(count <= MOST, "panels", count, f"at most {MOST}; load a folder for more")
    require(bool(trial.months), "visits", "none", "months such as 0, 1, 3, 6, 12")
    panels = pd.concat([_hung(trial, site, names, place) for place, site in
                        enumerate(sites["site"].drop_duplicates())])  # fmt: skip
    frames = {"sites": sites, "formulations": formulations, "panels": panels}
    if trial.reflectometer.strip():
        frames["instruments"] = pd.DataFrame([{
            "instrument": trial.reflectometer.strip(), "kind": "reflectometer",
            "weighting": trial.weighting, "calibration_due": trial.calibration_due,
        }])  # fmt: skip
    made = checked([_raw(sheet, frame) for sheet, frame in frames.items()])
    plan = exposure_with("plan", [{"months": float(month)} for month in sorted({*trial.months})])
    return replace(made, exposure=replace(made.exposure, plan=plan.plan))


def _named(frame: pd.DataFrame, key: str) -> pd.DataFrame:
    """Rows that are named; CallError where none is."""
    rows = frame[frame[key].fillna("").astype("str").str.strip() != ""].reset_index(drop=True)
    require(len(rows) > 0, f"{key}s", "none", f"at least one {key}")
    return rows.assign(**{key: rows[key].str.strip()})


def _hung(trial: Trial, site: str, names: Sequence[str], place: int) -> pd.DataFrame:
    """Panels of a site with their places, then its file specimens."""
    panels = new_panels(site, names, trial.replicates, trial.exposed_on)
    hung = rack_map(panels, trial.rows, ceil(len(panels) / trial.rows), seed=trial.seed + place,
                    rack=RACK)  # fmt: skip
    panels = positioned(panels, hung).assign(
        tilt_deg=trial.tilt_deg, azimuth_deg=trial.azimuth_deg, kind="exposed"
    )
    if not trial.filed:
        return panels
    filed = new_panels(site, names, trial.filed, trial.exposed_on)
    filed["panel"] = filed["panel"].str.replace(r"-(\d+)$", r"-F\1", regex=True)
    return pd.concat([panels, filed.assign(kind="file_specimen")])


def _raw(sheet: str, frame: pd.DataFrame) -> Raw:
    """The frame as cells of text, numbered as the lines of the form."""
    cells = frame.reset_index(drop=True).astype(object)
    text = cells.map(lambda cell: "" if pd.isna(cell) else _shortest(cell)).astype("str")
    return Raw(sheet, sheet, text.set_axis(range(1, len(text) + 1)))


def _shortest(cell: object) -> str:
    return f"{cell:.12g}" if isinstance(cell, float) else str(cell)
