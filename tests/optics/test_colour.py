"""Colour: conditions travel with values; differences are to the panel's own start."""

from __future__ import annotations

import numpy as np
import pytest

from aging.errors import CallError
from aging.optics.colour import (
    Colour,
    Conditions,
    ciede2000,
    colour_difference,
    colour_of_readings,
    colour_of_spectra,
    grey_scale,
    grey_scale_step,
    since_start,
    yellowness_index,
)

D65 = Conditions("D65", 10, "d:8 SCI")
NM = np.arange(380.0, 731.0, 10.0)
WHITE = (95.0, -1.0, 2.0)


@pytest.mark.parametrize("observer", [2, 10])
@pytest.mark.parametrize("illuminant", ["C", "D65"])
def test_a_flat_spectrum_is_neutral_with_its_own_lightness(illuminant, observer):
    found = colour_of_spectra(NM, np.full(NM.size, 0.5), Conditions(illuminant, observer, "45:0"))
    assert found.lab[0] == pytest.approx([116 * 0.5 ** (1 / 3) - 16, 0, 0], abs=1e-9)
    assert found.xyz[0, 1] == pytest.approx(50)


def test_finer_sampling_of_one_spectrum_agrees_with_the_librarys_integral():
    shape = lambda nm: 0.9 - 0.3 / (1 + np.exp((nm - 460) / 25))  # noqa: E731
    fine = np.arange(360.0, 781.0)
    ours = colour_of_spectra(fine, shape(fine), D65)
    coarse = colour_of_spectra(NM, shape(NM), D65)
    import colour  # the module under test has imported it by now, and quieted it

    observer = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(observer.shape)
    spectrum = colour.SpectralDistribution(shape(observer.wavelengths), observer.wavelengths)
    theirs = colour.sd_to_XYZ(spectrum, observer, light, method="Integration")
    assert ours.xyz[0] == pytest.approx(theirs, abs=0.02)
    assert coarse.lab == pytest.approx(ours.lab, abs=0.1)
    assert ours.lab[0, 2] > 5


def test_readings_and_spectra_meet():
    nm = np.arange(400.0, 701.0, 10.0)
    seen = colour_of_spectra(nm, np.linspace(0.7, 0.9, nm.size), D65)
    back = colour_of_readings(seen.lab, D65)
    assert back.xyz == pytest.approx(seen.xyz, abs=1e-6)
    assert yellowness_index(back) == pytest.approx(yellowness_index(seen), abs=1e-5)
    assert yellowness_index(seen)[0] > 5


@pytest.mark.parametrize(
    ("nm", "reflectance", "word"),
    [
        (NM[::-1], np.full(NM.size, 0.5), "ascending"),
        (NM, np.full(NM.size, 85.0), "percent"),
        (NM[5:], np.full(NM.size - 5, 0.5), "400 to 700"),
        (NM[::2], np.full(NM.size // 2, 0.5), "widest step"),
        (NM, np.full(3, 0.5), "reflectance"),
        (NM, np.full(NM.size, np.nan), "fraction"),
    ],
)
def test_a_spectrum_that_cannot_carry_a_colour_is_refused(nm, reflectance, word):
    with pytest.raises(CallError, match=word):
        colour_of_spectra(nm, reflectance, D65)


def test_conditions_never_mix():
    with pytest.raises(CallError, match="same illuminant, observer and geometry"):
        colour_difference(
            colour_of_readings(WHITE, D65),
            colour_of_readings(WHITE, Conditions("D65", 10, "d:8 SCE")),
        )


def test_conditions_are_checked():
    with pytest.raises(CallError, match="observer_deg: 5"):
        Conditions("D65", 5, "45:0")
    with pytest.raises(CallError, match="geometry"):
        Conditions("D65", 10, "sideways")
    with pytest.raises(CallError, match="illuminant"):
        colour_of_readings(WHITE, Conditions("daylight", 10, "45:0"))
    with pytest.raises(CallError, match="illuminant and observer"):
        yellowness_index(colour_of_readings(WHITE, Conditions("A", 2, "45:0")))


def test_each_panel_is_compared_with_its_own_first_reading():
    lab = np.array([[90, 0, 5], [95, -1, 2], [96, -1, 1], [80, 1, 6.0]])
    found = since_start(["P1", "P1", "P2", "P2"], [24, 0, 0.5, 36], colour_of_readings(lab, D65))
    assert found.delta_l == pytest.approx([-5, 0, 0, -16])
    assert found.delta_a == pytest.approx([1, 0, 0, 2])
    assert found.delta_b == pytest.approx([3, 0, 0, 5])
    assert found.delta_e_ab == pytest.approx([35**0.5, 0, 0, 285**0.5])
    assert found.delta_e_00[1] == 0
    assert found.grey_scale[[1, 2]] == pytest.approx(5)
    assert found.conditions == D65


def test_a_panel_without_an_initial_reading_is_named():
    with pytest.raises(CallError, match="P9"):
        since_start(["P1", "P9"], [0, 6], colour_of_readings([WHITE, WHITE], D65))


def test_ciede2000_is_symmetric_and_not_the_plain_distance():
    a, b = np.array([[95.0, -1, 2]]), np.array([[90.0, 0, 5]])
    assert ciede2000(a, b) == pytest.approx(ciede2000(b, a))
    assert ciede2000(a, b)[0] < np.linalg.norm(a - b) - 1


def test_grey_scale_falls_through_hue_that_wraps():
    near, far = (50.0, 10.0, 0.5), (50.0, 10.0, -0.5)
    assert grey_scale(near, far) == pytest.approx(grey_scale(far, near), abs=1e-9)
    assert grey_scale(near, far) > 4
    assert grey_scale_step((50.0, 0, 0), (80.0, 0, 0)) == "1"


def test_lightness_beyond_white_is_refused():
    with pytest.raises(CallError, match="0 to 100"):
        colour_of_readings((101.0, 0, 0), D65)
    assert isinstance(colour_of_readings((100.0, 0, 0), D65), Colour)
