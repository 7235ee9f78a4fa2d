"""The spectra sheet: one row a spectrum, its wavelengths and reflectances as lists of numbers.

What a file of spectra must fulfil, a row must too (`spectrum_rules`). `filed` turns the samples of
a file into rows of the sheet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pandas as pd

from aging.errors import require
from aging.intake.columns import read_columns
from aging.intake.desk import Desk
from aging.intake.raw import Raw, shown
from aging.intake.readings import check_panels, natural_key
from aging.intake.rows import repeats
from aging.intake.spectra import Spectra
from aging.intake.spectrum_rules import WAVELENGTH, Bench
from aging.records import Finding
from aging.spectra import listed, numbers_of

KEY = ("panel", "read_on", "surface_state", "instrument")
LISTS = ("wavelengths_nm", "reflectances")


def check_spectra(desk: Desk, panels: Desk) -> None:
    """Check spectra against the sun's range and the accepted panels, and fill in their keys."""
    if desk.blocked:
        return
    desk.columns["surface_state"] = desk.columns["surface_state"].fillna("as_exposed")
    check_panels(desk, panels)
    _check_lists(desk)
    given = desk.columns["spectrum"]
    desk.columns["spectrum"] = given.where(given.notna(), natural_key(desk, KEY))


def _check_lists(desk: Desk) -> None:
    texts = pd.DataFrame({name: desk.columns[name] for name in LISTS})
    place = np.arange(desk.size)
    for wavelengths, rows in texts[~desk.refused].groupby("wavelengths_nm", sort=False):
        at, read = numbers_of(str(wavelengths)), rows["reflectances"].map(numbers_of)
        uneven = read.map(len) != at.size
        odd = np.isin(place, rows.index[uneven])
        desk.flag(
            "uneven-lists", odd, "reflectances", f"{at.size} numbers, one for each wavelength",
            "export the spectrum anew", seen=[f"{len(one)} numbers" for one in read[uneven]],
        )  # fmt: skip
        read = read[~uneven]
        if read.empty:
            continue
        bench = Bench(
            desk.raw.file, [str(row) for row in read.index], [False] * len(read), at,
            np.stack(read.tolist()), np.zeros(at.size, np.intp), of_percent="divide all by 100",
        )  # fmt: skip
        bench.judge()
        for one in bench.findings:
            shared = one.column == WAVELENGTH
            found = np.isin(place, read.index) if shared else place == int(one.column or 0)
            desk.flag(
                one.code, found, LISTS[not shared], one.allowed, one.action,
                severity=one.severity, seen=[one.seen] * int(found.sum()),
            )  # fmt: skip
        if bench.wavelength[0] != at[0]:
            texts.loc[read.index, "wavelengths_nm"] = listed(bench.wavelength)
            texts.loc[read.index, "reflectances"] = [listed(one) for one in bench.read]
    for name in LISTS:
        desk.columns[name] = texts[name]


def filed(
    read: Spectra,
    source: str,
    panels: pd.DataFrame,
    facts: Mapping[str, str | None],
    panel_of: Mapping[str, str],
) -> tuple[pd.DataFrame, tuple[Finding, ...]]:
    """Sound samples of a file as rows of the sheet, each on the panel that it names; new findings.

    panels: those that are known;  facts: read_on, surface_state, instrument, operator, evidence of
    all;  panel_of: panel by sample, where it is not named as the sample. CallError for another.
    """
    told = {*read.samples, *(finding.column for finding in read.findings)}
    unknown = ", ".join(sorted(set(panel_of) - told))
    require(not (unknown and read.samples), "samples", unknown, read.samples)
    samples = pd.Series(read.samples, dtype="str")
    spectra: dict[str, Any] = {
        "panel": samples.replace(dict(panel_of)),
        **{name: fact or "" for name, fact in facts.items()},
        "wavelengths_nm": listed(read.wavelength_nm),
        "reflectances": [listed(one) for one in read.reflectance],
    }
    hung = panels.drop(columns="extra").astype("str").fillna("")
    known, desk = (
        read_columns(Raw(sheet, file, cells), day_first=None, today=datetime.now(tz=UTC).date())
        for sheet, file, cells in (
            ("panels", "the store", hung),
            ("spectra", shown(source), pd.DataFrame(spectra, dtype="str")),
        )
    )
    check_spectra(desk, known)
    key = desk.columns["spectrum"]
    own = samples == desk.columns["panel"]
    desk.columns["spectrum"] = key.where(own, key + "/" + samples.map(shown))
    repeats(desk)
    return desk.frame(), tuple(
        replace(one, row=None, seen=": ".join(dict.fromkeys((samples[one.row or 0], one.seen))))
        for one in desk.findings
        if one.column not in LISTS  # found in the file already
    )
