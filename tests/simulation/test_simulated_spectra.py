"""Simulated spectra: white when new, darker in the blue with dirt, and as bright as was read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from aging.intake import read
from aging.optics.solar import solar_reflectance
from aging.simulation.spectra import GRID_NM, INSTRUMENT, soiled, spectra_of
from aging.spectra import alike, derived

SHIPPED = Path(__file__).parents[2] / "sample_exposure"


@pytest.fixture(scope="module")
def sample():
    return read(SHIPPED).exposure


def test_each_spectrum_has_the_solar_reflectance_that_was_read(sample):
    made, findings = derived(sample.spectra, "G173 global tilt")
    assert findings == ()
    key = ["panel", "read_on", "surface_state"]
    seen = sample.readings.query("property == 'solar_reflectance'")
    both = made.merge(seen, on=key, suffixes=("", "_read"))
    assert len(both) == len(made) == len(sample.spectra) >= 20
    assert (both["value"] - both["value_read"]).abs().max() < 0.001
    assert set(made["instrument"]) == {INSTRUMENT}
    assert INSTRUMENT not in set(sample.readings["instrument"])


def test_they_are_new_a_year_and_three_years_old_and_stay_small(sample):
    spectra = sample.spectra.merge(sample.panels, on="panel")
    days = pd.to_datetime(spectra["read_on"]) - pd.to_datetime(spectra["exposed_on"])
    assert sorted(set((days.dt.days / 30.44 / 12).round())) == [0, 1, 3]
    assert set(spectra["surface_state"]) == {"as_exposed", "washed"}
    assert (SHIPPED / "spectra.csv").stat().st_size < 300_000


def test_dirt_takes_more_of_the_blue_and_the_curve_is_smooth():
    new, aged = soiled(np.array([0.84, 0.84]), np.array([0.84, 0.62]))
    left = aged / new
    assert (np.diff(left) > 0).all()
    assert left[GRID_NM == 450] < 0.7 < left[GRID_NM == 1500]
    assert np.abs(np.diff(new, 2)).max() < 0.15
    assert 0 < aged.min() < new.max() < 1
    found = solar_reflectance(GRID_NM, np.stack([new, aged]), "G173 global tilt").value
    assert found == pytest.approx([0.84, 0.62], abs=1e-9)


def test_the_visit_nearest_to_a_mark_stands_for_it(sample):
    panel = "AMARO-PS0H0-1"
    found = spectra_of(sample, [panel], (3, 36))
    assert len(found) == 3
    ((_, at, R),) = alike(found)
    assert at == pytest.approx(GRID_NM)
    assert R.shape == (3, GRID_NM.size)
    assert spectra_of(sample, [panel], (60,)).empty
