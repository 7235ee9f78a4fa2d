"""Rules of the weather sheet that need many rows: the ultraviolet of a month."""

from __future__ import annotations

import numpy as np
import pandas as pd

from aging.climate.intervals import UV_BAND_NM, UV_SHARE, odd_share, uv_share
from aging.climate.radiation import COLUMNS
from aging.intake.desk import Desk


def check_weather(desk: Desk, _panels: Desk) -> None:
    """Question each month whose ultraviolet is no plausible part of all sunlight."""
    if desk.blocked:
        return
    names = ["site", "date", *COLUMNS.values()]
    days = pd.DataFrame({name: desk.columns[name] for name in names})[~desk.refused]
    months = days.groupby(["site", days["date"].str[:7]], sort=False)
    odd = {rows.index[0]: share for _, rows in months if odd_share(share := uv_share(rows))}
    low, high = UV_SHARE
    desk.flag(
        "uv-share", np.isin(np.arange(desk.size), list(odd)), COLUMNS["uv"],
        f"{low} to {high} of solar_MJ_m2 over a month",
        f"check the unit, the band ({UV_BAND_NM[0]} to {UV_BAND_NM[1]} nm) and the sensor",
        severity="confirm", seen=[f"{odd[row]:.3f} in this month" for row in sorted(odd)],
    )  # fmt: skip
