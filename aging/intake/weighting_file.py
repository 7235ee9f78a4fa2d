"""A solar spectrum of the user's own: CSV with wavelength_nm and irradiance, named as its file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from aging.errors import CallError, SourceError
from aging.intake.raw import shown
from aging.optics.solar import WEIGHTINGS, Weighting, solar_reflectance

COLUMNS = ("wavelength_nm", "irradiance")


def read_weighting(path: str | Path) -> Weighting:
    """The weighting of a file; an optional column `source` says where it comes from.

    SourceError where the file is none, or its spectrum does not ascend over 300 to 2500 nm.
    """
    try:
        table = pd.read_csv(path)
    except (OSError, ValueError) as error:
        raise SourceError(f"{path}: cannot be read as a solar spectrum ({error})") from error
    if Path(path).stem in WEIGHTINGS:
        raise SourceError(f"{path}: {Path(path).stem!r} is a standard's name; rename the file")
    missing = [name for name in COLUMNS if name not in table]
    if missing:
        raise SourceError(f"{path}: lacks {', '.join(missing)}; needs {', '.join(COLUMNS)}")
    at, E = (pd.to_numeric(table[name], errors="coerce").to_numpy(np.float64) for name in COLUMNS)
    bad = ~(np.isfinite(at) & np.isfinite(E))
    if bad.any():
        row = int(np.argmax(bad))
        seen = ", ".join(str(table[name].iloc[row]) for name in COLUMNS)
        raise SourceError(f"{path}: row {row + 2}: {seen}: type two numbers")
    told = table["source"].dropna() if "source" in table else pd.Series(dtype="str")
    source = shown(str(told.iloc[0])) if len(told) else f"file {Path(path).name}"
    found = Weighting(Path(path).stem, source, at, E)
    try:
        solar_reflectance(np.array([300.0, 2500.0]), np.ones(2), found)
    except CallError as error:
        raise SourceError(f"{path}: {error}") from error
    return found
