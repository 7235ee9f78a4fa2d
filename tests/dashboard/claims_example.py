"""A store with claims in every state: an invented campaign of 24 months, and a bad visit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from aging.claims import evidence_of, make, propose, sentences, withdraw
from aging.ledger import open_ledger
from aging.records import Exposure, exposure_with

SITES = {"COAST": (0.20, "hot-humid"), "DESERT": (0.10, "hot-dry"), "TOWN": (0.15, "temperate")}
SHARES = {"A0": 1.0, "A8": 0.5, "B4": 0.5}
START = pd.Timestamp("2022-03-01")
VISITS = (0, 1, 3, 6, 9, 12, 15, 18, 21, 24)


def exposure(months: float = 24, *, bad: float = 0.0) -> Exposure:
    """Three formulations, three panels of each at three sites; `bad` darkens the last B4 visit."""
    random, panels, readings = np.random.default_rng(4), [], []
    for site, (loss, _) in SITES.items():
        for name, share in SHARES.items():
            for number in (1, 2, 3):
                panel, start = f"{site}-{name}-{number}", 0.85 + random.normal(0, 0.003)
                panels.append({"panel": panel, "formulation": name, "site": site,
                               "kind": "exposed", "exposed_on": f"{START:%Y-%m-%d}",
                               "replicate": number, "paint_batch": name})  # fmt: skip
                for month in VISITS:
                    value = start - share * loss * (1 - np.exp(-month / 7))
                    value += random.normal(0, 0.004) - bad * (month == 24 and name == "B4")
                    day = START + pd.Timedelta(days=round(month * 30.44))
                    readings.append({
                        "panel": panel, "read_on": f"{day:%Y-%m-%d}", "value": value,
                        "property": "solar_reflectance", "unit": "fraction",
                        "surface_state": "as_exposed", "instrument": "SR-1",
                        "weighting": "G173 global tilt", "reading_id": f"{panel}-{month}",
                    })  # fmt: skip
    read = [row for row in readings if int(row["reading_id"].rpartition("-")[2]) <= months]
    facts = {
        "sites": [{"site": site, "climate": climate, "latitude_deg": 30.0}
                  for site, (_, climate) in SITES.items()],
        "instruments": [{"instrument": "SR-1", "calibration_due": "2026-12-31"}],
        "formulations": [{"formulation": name, "role": "candidate" if share < 1 else "control"}
                         for name, share in SHARES.items()],
    }  # fmt: skip
    made = replace(
        exposure_with("panels", panels), readings=exposure_with("readings", read).readings
    )
    for sheet, rows in facts.items():
        made = replace(made, **{sheet: getattr(exposure_with(sheet, rows), sheet)})
    return made


def fill(path: Path) -> dict[str, str]:
    """Claims made at 21 months and the bad visit since; their ids by how they stand."""
    ids = {}
    with open_ledger(path, create=True) as book:
        book.append(exposure(21), by="desk", source="t")
        known = evidence_of(str(path), back_test=False)

        def claim(formulation: str, by: float, months: float = 36.0, **more: str) -> str:
            one = propose(known, formulation, "internal", months)
            one = replace(one, value=round(one.value + by, 2))
            words = sentences(one)[0]
            return make(book, one, (), words, revision=1, by="Zoë", **more).claim

        ids["holds"] = claim("A8", -0.03)
        ids["at risk"] = claim("A8", 0.0)
        ids["broken"] = claim("B4", 0.0)
        ids["right"] = claim("A0", -0.02, 24.0)
        ids["withdrawn"] = claim("A0", 0.01)
        withdraw(book, ids["withdrawn"], reason="*no longer* sold", by="Zoë")
        book.append(exposure(24, bad=0.12), by="desk", source="t")
    return ids
