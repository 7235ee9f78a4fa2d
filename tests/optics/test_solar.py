"""Solar reflectance: exact where the answer is known, refusing what cannot be, fast on many."""

from __future__ import annotations

import time

import numpy as np
import pytest

from aging.errors import CallError
from aging.optics.solar import (
    WEIGHTINGS,
    Weighting,
    selected_ordinates,
    solar_reflectance,
    weighting_named,
)

COARSE = np.arange(300.0, 2501, 5)
FLAT = Weighting("flat", "test", np.array([200.0, 3000.0]), np.array([2.0, 2.0]))


@pytest.mark.parametrize("name", WEIGHTINGS)
@pytest.mark.parametrize("level", [0.0, 0.37, 1.0])
def test_a_constant_is_its_own_solar_reflectance(name, level):
    spectrum = np.full(COARSE.size, level)
    found = solar_reflectance(COARSE, spectrum, name)
    assert found.weighting == name
    assert found.value == pytest.approx(level, abs=1e-12)
    assert [float(band.reflectance) for band in found.bands] == pytest.approx([level] * 3)
    assert selected_ordinates(COARSE, spectrum, name, 50) == pytest.approx(level, abs=1e-12)


def test_under_a_flat_sun_a_ramp_gives_its_middle_and_the_bands_their_widths():
    found = solar_reflectance([200, 3000], [[0.2, 0.3], [1.0, 0.0]], FLAT)
    assert found.value == pytest.approx([0.2 + 0.1 * 1200 / 2800, 1 - 1200 / 2800])
    assert [band.share for band in found.bands] == pytest.approx(
        [100 / 2200, 300 / 2200, 1800 / 2200]
    )
    assert sum(b.share * b.reflectance for b in found.bands) == pytest.approx(found.value)
    assert selected_ordinates([200, 3000], [0.2, 0.3], FLAT, 1) == pytest.approx(0.2 + 120 / 2800)


def test_interpolating_onto_the_suns_grid_and_folding_agree():
    sun = weighting_named("G173 global tilt")
    grid = sun.wavelength_nm[(sun.wavelength_nm >= 300) & (sun.wavelength_nm <= 2500)]
    E = sun.irradiance[np.isin(sun.wavelength_nm, grid)]
    spectra = np.random.default_rng(4).uniform(0, 1, (2, 3, COARSE.size))
    found = solar_reflectance(COARSE, spectra, sun)
    assert found.value.shape == (2, 3)
    direct = np.trapezoid(np.interp(grid, COARSE, spectra[1, 2]) * E, grid) / np.trapezoid(E, grid)
    assert found.value[1, 2] == pytest.approx(direct, abs=1e-12)


@pytest.mark.parametrize(
    ("wavelengths", "value", "told"),
    [
        (COARSE[10:], 0.5, "350 to 2500 nm.*all of 300 to 2500 nm"),
        (COARSE[:-10], 0.5, "300 to 2450 nm.*all of 300 to 2500 nm"),
        (COARSE, 85.0, "85.0 is not allowed; allowed: 0 to 1.1"),
        (COARSE, -0.01, "0 to 1.1"),
        (COARSE, np.nan, "0 to 1.1"),
        (COARSE[::-1], 0.5, "ascending"),
        (np.insert(COARSE, 3, COARSE[3]), 0.5, "315.0.*ascending, each once"),
    ],
)
def test_what_cannot_be_is_refused_with_what_can(wavelengths, value, told):
    for call in (solar_reflectance, selected_ordinates):
        with pytest.raises(CallError, match=told):
            call(wavelengths, np.full(wavelengths.size, value), "G173 direct")


def test_unknown_weightings_and_shapes_are_refused():
    with pytest.raises(CallError, match="G173 global tilt, G173 direct"):
        solar_reflectance(COARSE, COARSE * 0, "noon")
    with pytest.raises(CallError, match="a value a wavelength"):
        solar_reflectance(COARSE, [0.5, 0.6], "G173 direct")
    short = Weighting("visible only", "test", np.array([400.0, 700.0]), np.ones(2))
    with pytest.raises(CallError, match=r"visible only.*300 to 2500"):
        solar_reflectance(COARSE, COARSE * 0, short)


@pytest.mark.bench
def test_ten_thousand_spectra_take_less_than_a_second():
    spectra = np.random.default_rng(1).uniform(0, 1, (10_000, COARSE.size))
    weighting_named("G173 global tilt")
    start = time.perf_counter()
    found = solar_reflectance(COARSE, spectra, "G173 global tilt")
    taken = time.perf_counter() - start
    assert found.value.shape == (10_000,)
    assert taken < 1, f"{taken:.3f} s"
    print(f"10,000 spectra of {COARSE.size} points: {taken:.3f} s")
