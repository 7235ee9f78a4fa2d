"""Time and memory of the projection, beside mixed models of the same readings (pytest -m bench).

The peer is statsmodels' MixedLM of a linear sub-model at one given rate: a level and a loss of
each formulation, variance components of panel and visit, a fit a site. The projection weighs
some hundred such models a site, non-linear ones among them, and draws from them.
"""

from __future__ import annotations

import subprocess
import sys
import time
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import aging
from aging.cube import moments
from aging.simulation import STUDY, coats, simulate
from aging.simulation.write import write_folder

pytestmark = pytest.mark.bench
YEAR = (0, 1, 2, 3, 4, 6, 8, 10, 12)
FIFTEEN = (0, 1, 2, 3, 6, 9, 12, 15, 18, 21, 24, 27, 30, 33, 36)


def exposed(formulations, visits):
    """Three panels of each formulation at each of three sites, nothing missing."""
    design = replace(
        STUDY, formulations=coats(formulations), visits=visits, missing_visit=0, missing_reading=0
    )
    return simulate(design, 3).exposure


def seconds(work, turns=5):
    """The quietest of some turns."""
    taken = []
    for _ in range(turns):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return min(taken)


def mixed_models(exposure):
    """One MixedLM a site, panels and visits crossed within it."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    rows = exposure.readings.merge(exposure.panels, on="panel")
    day = moments(rows["read_on"])
    months = (day - moments(rows["exposed_on"])).dt.days / 30.44
    rows = rows.assign(day=day.dt.strftime("%j %Y"), late=1 - np.exp(-0.2 * months), all=1)
    parts = {"panel": "0 + C(panel)", "visit": "0 + C(day)"}
    for _, site in rows.groupby("site"):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of convergence, at a variance of nothing
            MixedLM.from_formula(
                "value ~ C(formulation) + C(formulation):late", site, groups="all", vc_formula=parts
            ).fit()


@pytest.mark.parametrize(
    ("formulations", "visits", "readings", "limit"),
    [(6, YEAR, 486, 1.0), (25, YEAR, 2025, 4.0), (6, tuple(range(37)), 1998, 4.0)],
    ids=["500", "2000 of many panels", "2000 of many visits"],
)
def test_a_projection_takes_seconds(capsys, formulations, visits, readings, limit):
    exposure = exposed(formulations, visits)
    assert len(exposure.readings) == readings
    aging.project(exposure)
    ours = seconds(lambda: aging.project(exposure))
    peer = seconds(lambda: mixed_models(exposure), 1)
    with capsys.disabled():
        print(
            f"\n{readings} readings: {ours:.2f} s, mixed models {peer:.2f} s: {peer / ours:.1f} x"
        )
    assert ours < limit


def measured(folder, exposure):
    """Seconds, CPU seconds and peak bytes of a projection, in a process of its own."""
    write_folder(exposure, folder)
    done = subprocess.run(
        [sys.executable, Path(__file__), folder], check=True, capture_output=True, text=True
    )
    return tuple(map(float, done.stdout.split()))


def test_135_000_readings_take_two_minutes_and_two_gigabytes(tmp_path, capsys):
    exposure = exposed(1000, FIFTEEN)
    assert len(exposure.readings) == 135_000
    wall, cpu, peak = measured(tmp_path, exposure)
    with capsys.disabled():
        print(f"\n135000 readings: {wall:.0f} s ({cpu:.0f} s of CPU), {peak / 1e9:.2f} GB")
    assert wall < 120
    assert peak < 2e9


def by_sites(number):
    """The exposure of 40 formulations at so many sites."""
    sites = [replace(STUDY.sites[n % 3], site=f"SITE{n}") for n in range(number)]
    design = replace(STUDY, sites=tuple(sites), formulations=coats(40), visits=FIFTEEN)
    return simulate(design, 3).exposure


@pytest.mark.parametrize(
    ("some", "many", "of"),
    [(250, 1000, lambda n: exposed(n, FIFTEEN)), (6, 24, by_sites)],
    ids=["formulations", "sites"],
)
def test_cost_grows_no_faster_than_the_readings(tmp_path, capsys, some, many, of):
    """CPU seconds, so that other work on the machine does not count."""
    sizes, costs = [], []
    for number in (some, many):
        exposure = of(number)
        sizes.append(len(exposure.readings))
        costs.append(measured(tmp_path / str(number), exposure)[1])
    growth = costs[1] / costs[0] / (sizes[1] / sizes[0])
    with capsys.disabled():
        print(f"\n{sizes} readings: {costs} s of CPU, {growth:.2f} of linear")
    assert growth < 1.15


def peak_bytes():
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return 1024 * next(int(line.split()[1]) for line in lines if line.startswith("VmHWM"))


if __name__ == "__main__":
    began = time.perf_counter()
    aging.project(sys.argv[1], 36)
    print(time.perf_counter() - began, time.process_time(), peak_bytes())
