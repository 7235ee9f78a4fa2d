"""The evidence pack of a dossier: what its numbers are made of, as files in one ZIP.

readings.csv    every reading of the property, which of them count, why the others do not, and which
                the claimed value rests on
draws.nc        joint draws at the claimed month, of the formulation and its controls (NetCDF-4)
priors.csv      what the model believed before any reading; courses.csv: how it weighed its courses
claim.json      the claim, its fingerprint, the value and gates made again
SHA256SUMS      digests of the files, for `sha256sum -c SHA256SUMS`

The files carry no time of their own, so that equal dossiers give equal bytes.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from hashlib import sha256
from io import BytesIO
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

import pandas as pd

from aging.claims.dossiers.made import Dossier
from aging.records import csv_of

COLUMNS = (
    "site", "formulation", "panel", "kind", "exposed_on", "read_on", "months", "property", "value",
    "unit", "surface_state", "surface_wetness", "spot_sd", "spots", "spot_values", "instrument",
    "weighting", "method", "illuminant", "observer_deg", "geometry", "evidence", "spectrum",
    "operator", "reading_id", "remark", "supersedes", "reason", "recorded_by", "recorded_at",
    "standing", "why", "rests_on_it",
)  # fmt: skip
SUMS = "SHA256SUMS"
DATED = (1980, 1, 1, 0, 0, 0)  # the first that a ZIP can hold


def evidence_pack(dossier: Dossier) -> bytes:
    """The files of the module's table, zipped."""
    files = {
        "readings.csv": csv_of(dossier.readings[list(COLUMNS)]),
        "draws.nc": bytes(dossier.draws.to_netcdf(engine="h5netcdf")),
        "priors.csv": csv_of(dossier.priors),
        "courses.csv": csv_of(dossier.courses),
        "claim.json": _json(dossier),
    }
    sums = (f"{sha256(data).hexdigest()}  {name}\n" for name, data in files.items())
    whole = BytesIO()
    with ZipFile(whole, "w") as zipped:
        for name, data in (files | {SUMS: "".join(sums).encode()}).items():
            entry = ZipInfo(name, DATED)
            entry.compress_type, entry.external_attr = ZIP_DEFLATED, 0o644 << 16
            zipped.writestr(entry, data)
    return whole.getvalue()


def _json(dossier: Dossier) -> bytes:
    facts = {
        "title": dossier.title, "claim": asdict(dossier.claim),
        "software": f"aging {dossier.version}",
        "made_again": asdict(dossier.proposal), "gates": [asdict(one) for one in dossier.gates],
        "figure": dossier.fan.statement, "cautions": dossier.cautions,
        "told": [asdict(one) for one in dossier.sections],
    }  # fmt: skip
    text = json.dumps(_known(facts), indent=2, ensure_ascii=False, allow_nan=False)
    return f"{text}\n".encode()


def _known(value: Any) -> Any:
    """The same with null for what is not a number."""
    if isinstance(value, dict):
        return {name: _known(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_known(one) for one in value]
    return None if isinstance(value, float) and pd.isna(value) else value
