"""Rules of the spectra sheet: one row a spectrum, its wavelengths and reflectances as lists."""

from __future__ import annotations

import numpy as np

from aging.errors import CallError
from aging.intake.desk import Desk
from aging.intake.readings import natural_key
from aging.optics.solar import checked_spectra

KEY = ("panel", "read_on", "surface_state", "instrument")


def check_spectra(desk: Desk) -> None:
    """Check each spectrum as one that is to be weighted with the sun, and fill in its key."""
    if desk.blocked:
        return
    state = desk.columns["surface_state"]
    desk.columns["surface_state"] = state.fillna("as_exposed")
    for row in np.flatnonzero(~desk.refused):
        at, R = (
            np.array(desk.columns[name].iloc[row].split(), dtype=np.float64)
            for name in ("wavelengths_nm", "reflectances")
        )
        try:
            checked_spectra(at, R)
        except CallError as error:
            here = np.arange(desk.size) == row
            desk.flag(
                "out-of-range", here, "reflectances", str(error), "export the spectrum anew",
                seen=[f"{len(at)} wavelengths, {len(R)} reflectances"],
            )  # fmt: skip
    given = desk.columns["spectrum"]
    desk.columns["spectrum"] = given.where(given.notna(), natural_key(desk, KEY))
