"""A small invented exposure, made by hand: two sites, three panels, one of them a correction."""

from __future__ import annotations

import dataclasses
from functools import cache

import numpy as np
import pandas as pd

from aging.records import SHEETS, Exposure, empty_frame


def frame(sheet, *rows):
    """Rows (dicts of the filled cells) as a frame of a sheet."""
    empty = empty_frame(sheet)
    return pd.DataFrame(list(rows), columns=empty.columns).astype(empty.dtypes.to_dict())


def reading(panel, read_on, value, **more):
    key = f"{panel}/{read_on}/solar_reflectance/as_exposed"
    return {
        "panel": panel, "read_on": read_on, "property": "solar_reflectance", "value": value,
        "unit": "fraction", "surface_state": "as_exposed", "reading_id": key,
    } | more  # fmt: skip


def claim(name, **more):
    return {
        "claim": name, "formulation": "A8", "property": "solar_reflectance", "months": 36.0,
        "sites": "Kiefernkamp; Salt Pan/2", "value": 0.71, "estimate": 0.7345, "confidence": 0.95,
        "basis": "projected", "wording": "At least 0.71,\n" + 20 * "; projected",
        "evidence_revision": 1.0, "evidence_digest": "cd" * 32, "made_by": "Zoë",
        "made_at": "2025-01-04T08:00:00.25+00:00",
    } | more  # fmt: skip


def example():
    """Facts with missing cells, awkward text and extra columns."""
    return Exposure(**{sheet: rows.copy() for sheet, rows in _example().frames()})


@cache
def _example():
    return Exposure(
        sites=frame(
            "sites",
            {"site": "Kiefernkamp", "latitude_deg": 51.5, "longitude_deg": -0.1 + 1e-9},
            {"site": "Salt Pan/2", "climate": "hot, dry", "extra": '{"fence": "north, \\"low\\""}'},
        ),
        formulations=frame(
            "formulations",
            {"formulation": "A0", "role": "control"},
            {"formulation": "A8", "role": "candidate", "description": '=8 % silica; "soft"',
             "extra": '{"hollow_sphere_vol_pct": 15.0, "silica_wt_pct": 8.0}'},
        ),
        panels=frame(
            "panels",
            *(
                {"panel": panel, "formulation": mix, "site": site, "exposed_on": "2023-01-10",
                 "replicate": number, "kind": "exposed", "paint_batch": f"L{number:04}"}
                for panel, mix, site, number in (
                    ("P1", "A0", "Kiefernkamp", 1), ("P2", "A8", "Kiefernkamp", 2),
                    ("P3", "A8", "Salt Pan/2", np.nan),
                )
            ),
        ),
        readings=frame(
            "readings",
            reading("P1", "2023-02-01", 0.1 + 0.2, spots=3, remark="dew, wiped\nonce"),
            reading("P1", "2023-05-01T08:30:00+02:00", 0.8, spot_sd=1 / 3),
            reading("P2", "2023-02-01", 0.84, extra='{"cloud": "thin", "gauge": 7.0}'),
            reading("P2", "2023-05-01", 0.82, operator="Zoë"),
            reading("P3", "2023-02-01", 0.85),
        ),
        events=frame(
            "events",
            {"on": "2023-03-01", "kind": "dust", "site": "Salt Pan/2"},
            {"on": "2023-03-02", "kind": "wash", "panel": "P1", "remark": "by mistake"},
            {"on": "2023-03-02", "kind": "wash", "panel": "P2"},
        ),
        weather=frame(
            "weather",
            *(
                {"site": site, "date": f"2023-02-{day:02d}", "rain_mm": day / 7}
                for site in ("Kiefernkamp", "Salt Pan/2")
                for day in (1, 2, 3)
            ),
        ),
        spectra=frame(
            "spectra",
            {"spectrum": "s1", "panel": "P1", "read_on": "2023-02-01T09:00:00",
             "surface_state": "washed", "wavelengths_nm": "300 1000.5 2500",
             "reflectances": "0.1 0.8123456789 0.7"},
        ),
        instruments=frame(
            "instruments",
            {"instrument": "SR-11", "kind": "reflectometer", "calibration_due": "2024-01-31",
             "tile": "T7", "tile_value": 0.815, "extra": '{"firmware": "v3.1"}'},
        ),
        instrument_checks=frame(
            "instrument_checks",
            {"instrument": "SR-11", "at": "2023-02-01T08:00:00", "stage": "before", "tile": "T7",
             "certified": 0.815, "value": 0.813},
        ),
        operators=frame("operators", {"operator": "Zoë", "laboratory": "north, hall 2"}),
        plan=frame(
            "plan",
            {"months": 0.0, "window_days": 7.0},
            {"site": "Kiefernkamp", "months": 0.0, "window_days": 3.0},
        ),
        photos=frame(
            "photos", {"photo": "ab" * 32, "panel": "P1", "taken_on": "2023-02-01T09:05:00"}
        ),
        settlements=frame(
            "settlements",
            {"finding": "f1", "rule": "drop", "reading_id": "r1", "decision": "confirmed",
             "reason": 'a "real" drop'},
        ),
        matchings=frame(
            "matchings",
            {"layout": "7f", "sheet": "readings", "header": "Probe Nr.", "meaning": "panel"},
            {"layout": "7f", "sheet": "readings", "header": "SR (%)", "unit": "%",
             "meaning": "solar_reflectance", "surface_state": "washed"},
        ),
        claims=frame("claims", claim("c1"), claim("c2", criterion="A code, 2020", value=np.nan)),
        claim_ends=frame(
            "claim_ends",
            {"claim": "c1", "kind": "replaced", "replaced_by": "c2", "reason": "a visit, later",
             "ended_by": "Zoë", "ended_at": "2025-01-05T08:00:00+00:00"},
        ),
    )  # fmt: skip


def only(**frames):
    """An exposure of the given sheets, the others empty."""
    return Exposure(**({sheet: empty_frame(sheet) for sheet in SHEETS} | frames))


def with_readings(exposure, *rows):
    """The same exposure with other readings."""
    return dataclasses.replace(exposure, readings=frame("readings", *rows))


def ordered(sheet, rows):
    """Rows in the order of their key."""
    return rows.sort_values(list(SHEETS[sheet].key), ignore_index=True)


def assert_equal(left, right, *, but=()):
    """Two exposures hold the same facts, to the bit, whatever the order of rows."""
    for (sheet, mine), (_, other) in zip(left.frames(), right.frames(), strict=True):
        dropped = [name for name in but if name in mine]
        pd.testing.assert_frame_equal(
            ordered(sheet, mine.drop(columns=dropped)),
            ordered(sheet, other.drop(columns=dropped)),
            check_exact=True,
        )


def counts(receipts):
    """Stored, changed, already and refused of each sheet that has rows."""
    return {r.sheet: (r.stored, r.changed, r.already, r.refused) for r in receipts if r.rows}


RECORDED = ("recorded_by", "recorded_at")


def numbered(first, count):
    """`count` readings of a panel of their own, numbered from `first`."""
    panel = f"panel {first}"
    rows = (
        reading(panel, "2023-02-01", 0.5 + (first + i) / 1e6, reading_id=f"r{first + i}")
        for i in range(count)
    )
    facts = {"panel": panel, "formulation": "A0", "site": "K", "exposed_on": "2023-01-10"}
    return only(readings=frame("readings", *rows), panels=frame("panels", facts))
