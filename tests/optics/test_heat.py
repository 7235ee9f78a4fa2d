"""Surface temperature and SRI: the balance itself, draws, and what may not be asked."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from aging.errors import CallError
from aging.optics.heat import (
    CONVECTION_W_M2K,
    SIGMA,
    Surroundings,
    emittance,
    sri,
    surface_temperature,
)

WINDS = tuple(CONVECTION_W_M2K)


@pytest.mark.parametrize("wind", WINDS)
def test_what_is_absorbed_leaves_again(wind):
    sr, te = np.meshgrid(np.linspace(0, 1, 41), np.linspace(0, 1, 41))
    around = Surroundings(850.0, 305.0, 290.0)
    found = surface_temperature(sr, te, wind, around)
    lost = te * SIGMA * (found**4 - 290.0**4) + CONVECTION_W_M2K[wind] * (found - 305.0)
    np.testing.assert_allclose((1 - sr) * 850.0, lost, atol=1e-9)


def test_newton_finds_what_brentq_finds():
    te = 0.85

    def missing(kelvin):
        return te * SIGMA * (kelvin**4 - 300.0**4) + 12 * (kelvin - 310) - 600

    assert surface_temperature(0.4, te) == pytest.approx(brentq(missing, 250, 450), abs=1e-9)


@pytest.mark.parametrize("wind", WINDS)
def test_references_are_0_and_100_and_the_index_rises_with_reflectance(wind):
    assert sri([0.05, 0.80], 0.90, wind) == pytest.approx([0, 100], abs=1e-9)
    found = sri(np.linspace(0, 1, 50), 0.9, wind)
    assert found[0] < 0
    assert found[-1] > 100
    assert (np.diff(found) > 0).all()


def test_shapes_broadcast_and_inputs_stay():
    sr = np.full((3, 1), 0.6)
    assert sri(sr, np.array([0.8, 0.9])).shape == (3, 2)
    assert sri(0.6, 0.9).shape == ()
    assert (sr == 0.6).all()
    assert sri([], 0.9).size == 0


def test_the_interval_comes_from_the_draws():
    rng = np.random.default_rng(3)
    reflectance = rng.normal(0.65, 0.02, 20_000)
    fixed = sri(reflectance, emittance(0.90).value)
    assert fixed.std() == pytest.approx(2.79, abs=0.06)  # 1.4 per 0.01
    both = sri(reflectance, emittance(0.90, 0.03).draws(reflectance.shape))
    assert both.std() == pytest.approx(np.hypot(2.79, 0.75), abs=0.08)  # 0.25 per 0.01


def test_the_emittance_says_how_it_is_known():
    assert str(emittance()) == "thermal emittance 0.90, assumed"
    assert str(emittance(0.87, 0.02)) == "thermal emittance 0.87 ± 0.02, measured"
    assert (emittance(0.9).draws((4,)) == 0.9).all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: sri(65, 0.9), r"solar reflectance: 65\.0 .*0 to 1, as a fraction"),
        (lambda: sri([0.5, np.nan], 0.9), r"solar reflectance: nan .*0 to 1"),
        (lambda: sri(0.5, 0.1), r"thermal emittance: 0\.1 .*above 0\.1 to 1"),
        (lambda: surface_temperature(-0.1, 0.9), r"solar reflectance: -0\.1 "),
        (lambda: surface_temperature(0.5, 1.2), r"thermal emittance: 1\.2 "),
        (lambda: sri(0.5, 0.9, "calm"), r"wind: 'calm' .*low, medium, high"),
        (lambda: surface_temperature(0.5, 0.9, around=Surroundings(air=37)), r"air, K: 37 "),
        (lambda: emittance(1.1), r"thermal emittance: 1\.1 "),
        (lambda: emittance(0.9, -1), r"uncertainty of the emittance: -1 "),
    ],
)
def test_what_cannot_be_is_refused_with_what_can(call, message):
    with pytest.raises(CallError, match=message):
        call()
