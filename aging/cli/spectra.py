"""Solar reflectance of spectra, as tables for a person, and their way into a store."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd
from rich.console import Console

from aging.cli.output import screen, table
from aging.cli.results import figure
from aging.errors import require
from aging.intake.spectra import Spectra
from aging.intake.spectra_sheet import filed
from aging.ledger import Receipt, open_ledger
from aging.optics.solar import Weighting, selected_ordinates, solar_reflectance
from aging.records import SHEETS, Exposure, Finding, empty_frame
from aging.spectra import changed, derived

ORDINATES = (50, 100)
DECIMALS = 4
SHOWN = ["reading_id", "spectrum", "panel", "read_on", "property", "value"]
SHORT = {"ultraviolet": "UV", "visible": "visible", "near infrared": "near IR"}


def reduced(read: Spectra | None, sun: Weighting) -> tuple[pd.DataFrame, pd.DataFrame]:
    """A row a sample, and a row a band with its share of the sun's energy; all as fractions."""
    if read is None or not read.samples:
        return pd.DataFrame(), pd.DataFrame()
    at, R = read.wavelength_nm, read.reflectance
    found = solar_reflectance(at, R, sun)
    rows = pd.DataFrame({
        "sample": pd.Series(read.samples, dtype="str"),
        "weighting": found.weighting,
        "solar_reflectance": found.value,
        **{f"{band.name.replace(' ', '_')}_reflectance": band.reflectance for band in found.bands},
        **{f"selected_ordinates_{n}": selected_ordinates(at, R, sun, n) for n in ORDINATES},
    })  # fmt: skip
    bands = [(one.name, one.low_nm, one.high_nm, one.share) for one in found.bands]
    return rows, pd.DataFrame(bands, columns=["band", "low_nm", "high_nm", "share"])


@dataclass(frozen=True)
class Kept:
    """What became of spectra in a store: readings derived, receipts, what was found on the way."""

    readings: pd.DataFrame
    receipts: tuple[Receipt, ...]
    findings: tuple[Finding, ...]


def pairs(text: str | None) -> dict[str, str]:
    """Panel by sample, of "sample=panel,sample=panel"."""
    parts = [one.partition("=") for one in text.split(",")] if text else []
    found = {sample.strip(): panel.strip() for sample, _, panel in parts}
    require(all((*found, *found.values())), "--panels", text, "SAMPLE=PANEL,SAMPLE=PANEL")
    return found


def keep(
    store: str,
    read: Spectra | None,
    source: str,
    by: str,
    sun: Weighting,
    *,
    facts: Mapping[str, str | None],
    panel_of: Mapping[str, str],
    colour: Mapping[str, Any],
) -> Kept:
    """Store new spectra (None: those that are stored) with the readings that follow from them.

    A spectrum that differs from the stored one of its name is refused.
    """
    with open_ledger(store) as book:
        known = book.read()
        spectra, findings = known.spectra, tuple[Finding, ...]()
        if read is not None:
            spectra, findings = filed(read, source, known.panels, facts, panel_of)
            other = changed(spectra, known.spectra)
            spectra = spectra[~spectra["spectrum"].isin(other)]
            findings += tuple(map(_changed, other))
        readings, odd = derived(spectra, sun, **colour)
        new = {"spectra": spectra, "readings": readings}
        sheets = {name: empty_frame(name) for name in SHEETS} | new
        receipts = book.append(Exposure(**sheets), by=by, source=source)
    told = tuple(finding for one in receipts for finding in one.findings)
    return Kept(readings[SHOWN], receipts, (*findings, *odd, *told))


def _changed(spectrum: str) -> Finding:
    return Finding(
        "conflicts-with-ledger", "block", "spectra", None, "reflectances", spectrum, "as stored",
        "give a spectrum measured anew its time of day, as 2025-04-03T15:30",
    )  # fmt: skip


def show(
    source: str, sun: Weighting, rows: pd.DataFrame, bands: pd.DataFrame, kept: Kept | None
) -> Console:
    """The samples, the bands with their limits, and what was stored."""
    console = screen()
    console.print(f"Solar reflectance of {source}, weighted with {sun.name}", style="bold")
    if len(bands):
        limits = [
            f"{SHORT[str(band.band)]}\n{band.low_nm:g}-{band.high_nm:g} nm"
            for band in bands.itertuples()
        ]
        ordinates = [f"{count} sel.\nordinates" for count in ORDINATES]
        grid = table(["sample", "solar\nreflectance", *limits, *ordinates])
        for row in rows.drop(columns="weighting").itertuples(index=False):
            grid.add_row(row[0], *(figure(value, DECIMALS) for value in row[1:]))
        shares = (f"{100 * share:.2f} %" for share in bands["share"])
        grid.add_section()
        grid.add_row("sun's energy", "100 %", *shares)
        console.print(grid)
        console.print(
            f"{sun.name}: {sun.source}. Values under different weightings do not compare; "
            "selected ordinates are a cross-check."
        )
    if kept is not None:
        grid = table(["sheet", "rows", "stored", "already there", "refused"])
        for one in kept.receipts:
            if one.rows:
                counts = (one.rows, one.stored, one.already, one.refused)
                grid.add_row(one.sheet, *map(str, counts))
        console.print(grid)
    return console
