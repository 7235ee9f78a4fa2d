"""Time and memory of all pairs of many formulations, beside plain numpy (pytest -m bench).

The peer makes every difference of one family at once and takes its quantiles, as one would write it
down; the family is compared with it, digit by digit.
"""

from __future__ import annotations

import time
import tracemalloc
from itertools import combinations

import numpy as np
import pytest

from aging.comparison.family import Gaps, intervals

pytestmark = pytest.mark.bench
FORMULATIONS, DRAWS, LEVEL = 200, 2000, 0.90


def naive(draws, first, second):
    gaps = draws[first] - draws[second]
    low, middle, high = np.quantile(gaps, [0.05, 0.5, 0.95], axis=1)
    off = gaps - middle[:, None]
    reach = np.where(off > 0, (high - middle)[:, None], (middle - low)[:, None])
    factor = np.quantile(np.abs(off / reach).max(axis=0), LEVEL)
    return middle - factor * (middle - low), middle + factor * (high - middle)


def measured(work):
    """Result, seconds of CPU, peak of memory in MB (in a run of its own, as tracing is slow)."""
    began = time.process_time()
    result = work()
    seconds = time.process_time() - began
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return result, seconds, peak


def test_all_pairs_take_a_fraction_of_the_time_and_memory():
    random = np.random.default_rng(4)
    draws = random.standard_normal((FORMULATIONS, DRAWS)) + random.standard_normal(DRAWS)
    first, second = np.array(list(combinations(range(FORMULATIONS), 2))).T
    (low, high), slow, large = measured(lambda: naive(draws, first, second))
    found, quick, small = measured(lambda: intervals(Gaps(((draws, first, second),)), LEVEL))
    print(f"\n{quick:.2f} s, {small:.0f} MB; peer {slow:.2f} s, {large:.0f} MB")
    assert np.abs(found.joint_lower - low).max() < 1e-5
    assert np.abs(found.joint_upper - high).max() < 1e-5
    assert small < large / 20
    assert quick < slow / 2
