"""Solar reflectance of a file of spectra, as tables for a person."""

from __future__ import annotations

import pandas as pd

from aging.cli.findings import HEADINGS, tell
from aging.cli.output import screen, table
from aging.cli.results import figure
from aging.intake.spectra import Spectra
from aging.optics.solar import Weighting, selected_ordinates, solar_reflectance

ORDINATES = (50, 100)
DECIMALS = 4
SHORT = {"ultraviolet": "UV", "visible": "visible", "near infrared": "near IR"}


def reduced(read: Spectra, sun: Weighting) -> tuple[pd.DataFrame, pd.DataFrame]:
    """A row a sample, and a row a band with its share of the sun's energy; all as fractions."""
    if not read.samples:
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


def show(
    read: Spectra, source: str, sun: Weighting, rows: pd.DataFrame, bands: pd.DataFrame
) -> None:
    """The samples, the bands with their limits, then every finding."""
    console = screen()
    console.print(f"Solar reflectance of {source}, weighted with {sun.name}", style="bold")
    if len(rows):
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
    for one in sorted(read.findings, key=lambda finding: list(HEADINGS).index(finding.severity)):
        tell(console, [one])
    for note in read.notes:
        console.print(f"Note: {note}")
