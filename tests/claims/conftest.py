"""The invented campaign fitted once, with everything in order."""

from __future__ import annotations

import pandas as pd
import pytest
from claim_campaign import campaign

from aging.claims import Evidence
from aging.projection import fit


@pytest.fixture(scope="session")
def exposure():
    return campaign()


@pytest.fixture(scope="session")
def fitted(exposure):
    return fit(exposure)


@pytest.fixture(scope="session")
def evidence(fitted, exposure):
    """Everything in order: no findings, formulations stored once, intervals that held."""
    changes = exposure.formulations.assign(recorded_at="2022-02-20T09:00:00+00:00")
    doubts = pd.DataFrame(columns=["finding", "rule", "severity", "panel"]).astype("str")
    coverage = pd.DataFrame({"cut": [12.0, 24.0], "coverage": [0.93, 0.88],
                             "coverage_upper": [0.99, 0.95], "n_series": [12, 12]})  # fmt: skip
    return Evidence(fitted, doubts, changes, coverage)
