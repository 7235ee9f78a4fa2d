"""A small exposure folder, cut from the sample: two sites, four formulations, two properties."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

ROOT = Path(__file__).parents[2]
FORMULATIONS = ("S0H0", "S8H30", "PS0H0", "PS8H30")
SITES = ("AMARO", "KESTREL")


@pytest.fixture(scope="session")
def folder(tmp_path_factory) -> Path:
    made = tmp_path_factory.mktemp("exposure")
    panels = pd.read_csv(ROOT / "sample_exposure" / "panels.csv")
    panels = panels[panels["formulation"].isin(FORMULATIONS) & panels["site"].isin(SITES)]
    panels.to_csv(made / "panels.csv", index=False)
    readings = pd.read_csv(ROOT / "sample_exposure" / "readings.csv")
    wanted = readings["property"].isin(["solar_reflectance", "chalking_astm"])
    readings[wanted & readings["panel"].isin(panels["panel"])].to_csv(
        made / "readings.csv", index=False
    )
    for name, key, keep in (
        ("sites", "site", SITES),
        ("formulations", "formulation", FORMULATIONS),
    ):
        facts = pd.read_csv(ROOT / "sample_exposure" / f"{name}.csv")
        facts[facts[key].isin(keep)].to_csv(made / f"{name}.csv", index=False)
    return made
