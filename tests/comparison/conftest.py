from __future__ import annotations

from itertools import product

import pytest

import aging
from aging.intake import composition
from aging.simulation import Design, simulate
from aging.simulation.scenario import blend

GRID = Design(
    formulations=tuple(blend(silica, spheres) for silica, spheres in product((0, 4, 8), (0, 30))),
    panels=2,
    file_specimens=0,
    months=24,
)


@pytest.fixture(scope="session")
def fitted():
    """Six formulations, a grid of 3 x 2 doses, two panels each at three sites, two years."""
    return aging.fit(simulate(GRID, seed=5).exposure)


@pytest.fixture(scope="session")
def doses(fitted):
    return composition(fitted.exposure.formulations)
