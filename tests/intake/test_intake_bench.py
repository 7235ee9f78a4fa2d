"""A million readings, against the bare reading of the same file by pandas in the same run.

Processor time is compared, so that a busy machine slows both alike.
"""

from __future__ import annotations

import subprocess
import sys
from statistics import median

import numpy as np
import pandas as pd
import pytest

ROWS, PANELS = 1_000_000, 2_000
COMMON = """
import resource, sys, time
import pandas as pd
from aging import intake
start = time.process_time()
{work}
taken = time.process_time() - start
print(taken, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6)
"""
BARE = COMMON.format(work="pd.read_csv(sys.argv[1] + '/readings.csv', dtype=str)")
CHECKED = COMMON.format(
    work="""
result = intake.read(sys.argv[1])
assert not result.findings
assert len(result.exposure.readings) == 1_000_000
"""
)


@pytest.fixture(scope="module")
def million(tmp_path_factory):
    folder, random = tmp_path_factory.mktemp("million"), np.random.default_rng(2)
    panels = np.array([f"P{i:05d}" for i in range(PANELS)])
    table = {"panel": panels, "formulation": "F1", "site": "S1", "exposed_on": "2020-01-01"}
    pd.DataFrame(table).to_csv(folder / "panels.csv", index=False)
    number = np.arange(ROWS)
    days = pd.date_range("2020-02-01", periods=ROWS // PANELS // 2, freq="7D").strftime("%Y-%m-%d")
    pd.DataFrame(
        {
            "panel": panels[number % PANELS],
            "read_on": days.to_numpy()[number // PANELS // 2],
            "property": np.array(["solar_reflectance", "gloss_60"])[number // PANELS % 2],
            "value": random.uniform(0.5, 0.9, ROWS).round(3),
            "surface_state": "as_exposed",
            "spot_sd": random.uniform(0, 0.02, ROWS).round(4),
            "instrument": "R-1",
            "operator": "op1",
        }
    ).to_csv(folder / "readings.csv", index=False)
    return folder


def run(script, folder):
    command = [sys.executable, "-c", script, str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    seconds, gigabytes = done.stdout.split()
    return float(seconds), float(gigabytes)


@pytest.mark.bench
def test_a_million_readings_are_checked_in_seconds_and_bearable_memory(million):
    pairs = [(run(CHECKED, million), run(BARE, million)) for _ in range(3)]
    ratio = median(checked[0] / bare[0] for checked, bare in pairs)
    print(f"checked {pairs[0][0]}, bare {pairs[0][1]} (s, GB); ratio {ratio:.2f}")
    assert ratio < 5
    assert min(checked[0] for checked, _ in pairs) < 6
    assert max(checked[1] for checked, _ in pairs) < 1.2
