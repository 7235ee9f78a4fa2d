"""A rack in the north whose panels lose reflectance with the sunlight they received."""

from __future__ import annotations

import numpy as np
import pandas as pd

from aging.records import Exposure, empty_frame
from aging.simulation.sheets import as_sheet

AUTUMN, SPRING = pd.Timestamp("2021-10-01"), pd.Timestamp("2021-04-01")
VISITS = np.array([0, 30, 61, 91, 122, 183, 274, 365, 457, 548, 731, 913])


def sunny_rack(
    seed: int, start: pd.Timestamp = AUTUMN, *, plateau: bool = False
) -> tuple[Exposure, dict[str, float]]:
    """The exposure, with daily sun twenty times as strong in June as in December; truth at 36.

    The loss is a power of the sunlight received, or runs into a plateau.
    """
    random = np.random.default_rng(seed)
    days = pd.date_range(start, periods=1120)
    season = np.cos(2 * np.pi * (days.day_of_year.to_numpy() - 172) / 365.25)
    sun = (11 + 10 * season) * random.uniform(0.5, 1.3, days.size)
    received = np.append(0.0, np.cumsum(sun))
    share = received / received[1096]
    size, shape = random.uniform(0.10, 0.24, (3, 1)), random.uniform(0.0, 1.0, (3, 1))
    loss = size * (
        -np.expm1(-(2 + 4 * shape) * share) if plateau else share ** (0.45 + 0.2 * shape)
    )
    panel = np.repeat(np.arange(3), 3)
    values = 0.82 - loss[panel][:, VISITS] + random.normal(0, 0.005, (9, 1))
    values = values + random.normal(0, 0.004, VISITS.size) + random.normal(0, 0.003, values.shape)
    names = [f"P{place}" for place in range(9)]
    dates = list(days.strftime("%Y-%m-%d"))
    coats = [f"F{group}" for group in panel]
    exposure = Exposure(
        as_sheet("sites", {"site": ["NORD"], "latitude_deg": [58.0], "longitude_deg": [14.0]}),
        as_sheet("formulations", {"formulation": sorted(set(coats))}),
        as_sheet("panels", {
            "panel": names, "formulation": coats, "site": ["NORD"] * 9, "exposed_on": dates[:1] * 9,
            "tilt_deg": [5.0] * 9, "azimuth_deg": [180.0] * 9, "kind": ["exposed"] * 9,
        }),
        as_sheet("readings", {
            "panel": list(np.repeat(names, VISITS.size)),
            "read_on": list(np.tile(np.array(dates)[VISITS], 9)),
            "property": ["solar_reflectance"] * values.size, "value": values.ravel().round(4),
            "unit": ["fraction"] * values.size, "surface_state": ["as_exposed"] * values.size,
        }),
        empty_frame("events"),
        as_sheet("weather", {
            "site": ["NORD"] * days.size, "date": dates, "solar_MJ_m2": sun.round(2),
        }),
    )  # fmt: skip
    return exposure, {f"F{group}": 0.82 - loss[group, 1096] for group in range(3)}
