"""The projection on a cluster of two workers: the digits of one process, from rows or chunks."""

from __future__ import annotations

import os
from dataclasses import replace

import pandas as pd
import pytest
import xarray as xr
from dask.base import is_dask_collection
from distributed import Client, LocalCluster

import aging
from aging import cube as cubes
from aging.errors import CallError, ModelError
from aging.scale import gather_chunks, project
from aging.simulation import STUDY, merge, precedents, simulate, sized

DESIGN = sized(STUDY, months=12, formulations=2, panels=2)


@pytest.fixture(scope="module")
def client():
    alone = "PYTEST_XDIST_WORKER" not in os.environ  # whose workers can start no process of dask
    with (
        LocalCluster(
            n_workers=2, threads_per_worker=1, processes=alone, dashboard_address=None
        ) as cluster,
        Client(cluster) as one,
    ):
        yield one


@pytest.fixture(scope="module")
def exposure():
    """A running campaign and a closed one at each of three sites."""
    return merge(
        [
            simulate(DESIGN, seed=4).exposure,
            precedents("dirt and rain", 1, 4, sized(STUDY, months=27, formulations=2, panels=2)),
        ]
    )


@pytest.fixture(scope="module")
def here(exposure):
    return aging.project(exposure, [12, 36])


def without_readings(exposure):
    return replace(exposure, readings=exposure.readings[:0])


def test_campaigns_fitted_by_workers_give_the_same_digits(client, exposure, here):
    there = project(exposure, [12, 36], client=client)
    pd.testing.assert_frame_equal(there.frame, here.frame, check_exact=True)
    pd.testing.assert_frame_equal(there.priors, here.priors, check_exact=True)
    assert there.notes == here.notes
    assert any("closed campaign" in note for note in there.notes)


def test_a_cube_in_chunks_gives_the_same_digits(client, exposure, here, tmp_path):
    """Chunks that cut across sites, opened from a file, and facts without a reading."""
    cubes.save(cubes.build(exposure), tmp_path / "cube.nc")
    with xr.open_dataset(tmp_path / "cube.nc", chunks={"panel": 5}) as cube:
        assert is_dask_collection(cube["value"])
        assert len(cube.chunks["panel"]) > 3
        there = project(without_readings(exposure), [12, 36], client=client, cube=cube)
    pd.testing.assert_frame_equal(there.frame, here.frame, check_exact=True)


def test_progress_counts_campaigns(exposure):
    told = []
    aging.fit(exposure, on_progress=lambda *step: told.append(step))
    assert told == [(number, 6) for number in range(1, 7)]


def test_a_cube_that_is_none_is_refused(client, exposure):
    cube = cubes.build(exposure)
    with pytest.raises(CallError, match="read_on"):
        gather_chunks(exposure, cube.drop_vars("read_on"), client=client)
    with pytest.raises(ModelError, match="no unwashed readings of gloss_60"):
        gather_chunks(exposure, cube.chunk(panel=5), "gloss_60", client=client)
