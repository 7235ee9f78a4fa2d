"""A small rack on which nothing is odd, and a way to make one thing so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from aging.checks import check
from aging.records import SHEETS, Exposure, empty_frame

DAYS = (
    "2024-01-10", "2024-02-09", "2024-03-11", "2024-05-13", "2024-07-10", "2024-10-09",
    "2025-01-08", "2025-04-09", "2025-07-09", "2025-10-08",
)  # fmt: skip
LOSS = {"plain": 0.16, "silica": 0.09}


def sheet(name, rows):
    frame = pd.DataFrame(rows).reindex(columns=list(empty_frame(name).columns))
    return frame.astype(empty_frame(name).dtypes.to_dict())


class Rack:
    """Two formulations of three panels and two file specimens, read ten times in 21 months."""

    def __init__(self):
        panels = [
            {
                "panel": f"{name}-{number}", "formulation": name, "site": "YARD",
                "exposed_on": DAYS[0], "dry_film_um": 600.0,
                "kind": "exposed" if number < 4 else "file_specimen",
            }
            for name in LOSS for number in (1, 2, 3, 4)
        ]  # fmt: skip
        noise = np.random.default_rng(1).normal(0, 0.003, (len(panels), len(DAYS)))
        readings = [
            {
                "panel": panel["panel"], "read_on": day, "property": "solar_reflectance",
                "value": round(0.84 - loss(panel, day) + noise[place, visit], 3),
                "unit": "fraction", "surface_state": "as_exposed", "instrument": "SR-1",
                "weighting": "G173 global tilt", "reading_id": f"{panel['panel']}@{day}",
            }
            for place, panel in enumerate(panels) for visit, day in enumerate(DAYS)
        ]  # fmt: skip
        frames = {name: empty_frame(name) for name in SHEETS}
        frames["panels"] = sheet("panels", panels)
        frames["readings"] = sheet("readings", readings)
        frames["sites"] = sheet("sites", [{"site": "YARD"}])
        frames["formulations"] = sheet("formulations", [{"formulation": name} for name in LOSS])
        self.exposure = Exposure(**frames)
        self.checked = None

    @property
    def frame(self):
        """What a check finds, made once as long as nothing changes."""
        if self.checked is not self.exposure:
            self.checked, self.found = self.exposure, check(self.exposure).frame
        return self.found

    def changed(self, which, **columns):
        """Give the readings whose id holds a text other cells."""
        frame = self.exposure.readings.copy()
        rows = frame["reading_id"].str.contains(which, regex=False)
        assert rows.any()
        for name, value in columns.items():
            frame.loc[rows, name] = value(frame.loc[rows, name]) if callable(value) else value
        return self.replaced("readings", frame)

    def replaced(self, name, frame):
        """Put a frame in place of a sheet."""
        self.exposure = replace(self.exposure, **{name: frame})
        return self

    def added(self, name, *rows):
        """Add rows to a sheet."""
        more = pd.concat([getattr(self.exposure, name), sheet(name, rows)], ignore_index=True)
        return self.replaced(name, more)


def loss(panel, day):
    if panel["kind"] == "file_specimen":
        return 0.0
    months = (pd.Timestamp(day) - pd.Timestamp(DAYS[0])).days / 30.44
    return LOSS[panel["formulation"]] * -np.expm1(-months / 4)


@pytest.fixture
def rack():
    return Rack()
