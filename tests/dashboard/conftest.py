"""A small exposure folder, cut from the sample: two sites, four formulations, their spectra.

Of the visits of a trial every second stays, and the first and the last.
"""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

import pandas as pd
import pytest

ROOT = Path(__file__).parents[2]
FORMULATIONS = ("S0H0", "S8H30", "PS0H0", "PS8H30")
SITES = ("AMARO", "KESTREL")


@pytest.fixture(scope="session")
def folder(tmp_path_factory) -> Path:
    return cut(tmp_path_factory.mktemp("exposure"), FORMULATIONS)


def cut(made: Path, formulations: Collection[str]) -> Path:
    """The folder `made` with what the sample tells of some formulations at SITES."""
    panels = pd.read_csv(ROOT / "sample_exposure" / "panels.csv")
    panels = panels[panels["formulation"].isin(formulations) & panels["site"].isin(SITES)]
    panels.to_csv(made / "panels.csv", index=False)
    readings = pd.read_csv(ROOT / "sample_exposure" / "readings.csv")
    wanted = readings["property"].isin(["solar_reflectance", "chalking_astm"])
    readings = readings[wanted].merge(panels[["panel", "site", "exposed_on"]], on="panel")
    trial = readings["read_on"].str[:10].groupby([readings["site"], readings["exposed_on"]])
    place = trial.rank("dense", ascending=False)
    stays = (place % 2 == 1) | (trial.rank("dense") == 1)
    readings[stays].drop(columns=["site", "exposed_on"]).to_csv(made / "readings.csv", index=False)
    for name, key, keep in (
        ("sites", "site", SITES),
        ("formulations", "formulation", formulations),
        ("spectra", "panel", panels["panel"]),
    ):
        facts = pd.read_csv(ROOT / "sample_exposure" / f"{name}.csv")
        facts[facts[key].isin(keep)].to_csv(made / f"{name}.csv", index=False)
    return made
