"""A small invented campaign: two formulations, three panels each at three sites, 24 months."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from aging.records import exposure_with

SITES = {"COAST": (0.20, "hot-humid"), "DESERT": (0.10, "hot-dry"), "TOWN": (0.15, "temperate")}
LOSS = {"A0": 1.2, "A8": 0.6}
START = pd.Timestamp("2022-03-01")
MONTHS = (0, 1, 3, 6, 9, 12, 15, 18, 21, 24, 30, 36)


def rows_until(months, *, fall=0.0):
    """Readings up to a month; `fall` darkens A8 after month 24."""
    random, found = np.random.default_rng(4), []
    for site, (loss, _) in SITES.items():
        for name, share in LOSS.items():
            for panel in (1, 2, 3):
                start = 0.85 + random.normal(0, 0.003)
                for month in MONTHS:
                    noise = random.normal(0, 0.004)
                    late = fall * (month > 24) * (name == "A8")
                    value = start - share * loss * (1 - np.exp(-month / 7)) + noise - late
                    if month <= months:
                        day = START + pd.Timedelta(days=round(month * 30.44))
                        found.append((site, name, panel, month, f"{day:%Y-%m-%d}", value))
    return found


def campaign(months=24, *, fall=0.0):
    """The exposure as known after so many months."""
    found = rows_until(months, fall=fall)
    keys = dict.fromkeys((site, name, panel) for site, name, panel, *_ in found)
    panels = exposure_with("panels", [
        {"panel": f"{site}-{name}-{number}", "formulation": name, "site": site, "kind": "exposed",
         "exposed_on": f"{START:%Y-%m-%d}", "replicate": number, "paint_batch": name}
        for site, name, number in keys
    ])  # fmt: skip
    readings = exposure_with("readings", [
        {"panel": f"{site}-{name}-{panel}", "read_on": day, "property": "solar_reflectance",
         "value": value, "unit": "fraction", "surface_state": "as_exposed", "instrument": "SR-1",
         "weighting": "G173 global tilt", "reading_id": f"{site}-{name}-{panel}-{month}"}
        for site, name, panel, month, day, value in found
    ])  # fmt: skip
    sites = exposure_with("sites", [
        {"site": site, "climate": climate, "latitude_deg": 30.0}
        for site, (_, climate) in SITES.items()
    ])  # fmt: skip
    instruments = exposure_with("instruments", [
        {"instrument": "SR-1", "calibration_due": "2025-12-31"}
    ])  # fmt: skip
    formulations = exposure_with("formulations", [
        {"formulation": name, "role": role, "extra": '{"silica_wt_pct": 8.0}'}
        for name, role in (("A0", "control"), ("A8", "candidate"))
    ])  # fmt: skip
    return replace(
        panels, readings=readings.readings, sites=sites.sites,
        instruments=instruments.instruments, formulations=formulations.formulations,
    )  # fmt: skip
