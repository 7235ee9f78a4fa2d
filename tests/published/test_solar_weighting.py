"""The solar weightings against published figures of ASTM G173-03 and known answers.

Totals of 1000.37 and 900.14 W/m2 (280 to 4000 nm) are those printed with the standard. That 52 % of
the sun's energy at the ground is near infrared is common practice; 52.05 % holds for the global
spectrum and limits of 400, 700 and 2500 nm. Steps and the white-like spectrum were worked out apart
from this code, on the standard's own grid; a step is uncertain by half an interval of the grid.
"""

from __future__ import annotations

import numpy as np
import pytest

from aging.optics.solar import (
    ordinates_nm,
    selected_ordinates,
    solar_reflectance,
    weighting_named,
)

GLOBAL, DIRECT = "G173 global tilt", "G173 direct"
SHARES = {GLOBAL: (4.645, 43.305, 52.051), DIRECT: (3.420, 42.006, 54.574)}


def grid():
    return weighting_named(GLOBAL).wavelength_nm


def white_like(at):
    rise = 0.05 + 0.87 / (1 + np.exp(-(at - 400) / 8))
    dips = 0.25 * np.exp(-(((at - 1720) / 60) ** 2)) + 0.30 * np.exp(-(((at - 2300) / 120) ** 2))
    return rise - dips


@pytest.mark.parametrize(("name", "total"), [(GLOBAL, 1000.37), (DIRECT, 900.14)])
def test_totals_are_those_of_the_standard(name, total):
    sun = weighting_named(name)
    assert np.trapezoid(sun.irradiance, sun.wavelength_nm) == pytest.approx(total, abs=0.005)


@pytest.mark.parametrize("name", SHARES)
def test_shares_of_the_bands(name):
    found = solar_reflectance(grid(), 0 * grid() + 0.5, name)
    assert [100 * band.share for band in found.bands] == pytest.approx(SHARES[name], abs=6e-4)
    limits = [(300, 400), (400, 700), (700, 2500)]
    assert [(band.low_nm, band.high_nm) for band in found.bands] == limits


def test_half_of_the_suns_energy_and_a_little_more_is_near_infrared():
    near = solar_reflectance(grid(), 0 * grid(), GLOBAL).bands[-1]
    assert (near.name, round(100 * near.share, 2)) == ("near infrared", 52.05)


@pytest.mark.parametrize(
    ("edge", "name", "value"),
    [
        (400, GLOBAL, 0.95383),
        (400, DIRECT, 0.96603),
        (700, GLOBAL, 0.52115),
        (700, DIRECT, 0.54639),
    ],
)
def test_steps(edge, name, value):
    step = (grid() >= edge).astype(float)
    assert solar_reflectance(grid(), step, name).value == pytest.approx(value, abs=1e-5)


@pytest.mark.parametrize(("edge", "fifty", "hundred"), [(400, 0.96, 0.95), (700, 0.52, 0.52)])
def test_steps_by_selected_ordinates(edge, fifty, hundred):
    step = (grid() >= edge).astype(float)
    assert selected_ordinates(grid(), step, GLOBAL, 50) == pytest.approx(fifty, abs=1e-3)
    assert selected_ordinates(grid(), step, GLOBAL, 100) == pytest.approx(hundred, abs=1e-3)


def test_a_white_coating():
    spectrum = white_like(grid())
    assert solar_reflectance(grid(), spectrum, GLOBAL).value == pytest.approx(0.86903, abs=1e-5)
    assert solar_reflectance(grid(), spectrum, DIRECT).value == pytest.approx(0.87910, abs=1e-5)
    assert selected_ordinates(grid(), spectrum, GLOBAL, 50) == pytest.approx(0.86845, abs=1e-5)
    assert selected_ordinates(grid(), spectrum, GLOBAL, 100) == pytest.approx(0.86864, abs=1e-5)


@pytest.mark.parametrize("step_nm", [5, 10])
def test_the_instruments_step_hardly_matters(step_nm):
    at = np.arange(300.0, 2501, step_nm)
    found = solar_reflectance(at, white_like(at), GLOBAL).value
    assert found == pytest.approx(0.86903, abs=1.5e-4)


def test_fifty_ordinates_of_equal_energy():
    at = ordinates_nm(GLOBAL, 50)
    assert at[:5] == pytest.approx([341.93, 376.74, 403.02, 419.85, 436.69], abs=0.01)
    assert at[-5:] == pytest.approx([1521.91, 1598.32, 1686.93, 1994.58, 2256.24], abs=0.01)
