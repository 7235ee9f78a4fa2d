"""Colours of a screen are those of the standard."""

from __future__ import annotations

import numpy as np
import pytest

from aging.errors import CallError
from aging.optics.colour import Conditions, colour_of_readings
from aging.optics.screen import screen_colours, srgb


@pytest.mark.parametrize(
    ("lab", "hexadecimal"),
    [((100, 0, 0), "#ffffff"), ((0, 0, 0), "#000000"), ((53.585, 0, 0), "#808080"),
     ((53.2408, 80.0925, 67.2032), "#ff0000"), ((32.2970, 79.1875, -107.8602), "#0000ff")],
)  # fmt: skip
def test_known_colours(lab, hexadecimal):
    assert screen_colours(lab) == [hexadecimal]


def test_it_agrees_with_the_library_over_whites_and_soiled_whites():
    grid = np.stack(np.meshgrid([1, 40, 70, 90, 97], [-4, 0, 4], [-5, 3, 15]), -1).reshape(-1, 3)
    colour_of_readings((90, 0, 0), Conditions())  # imports the library, quieted
    import colour

    theirs = colour.XYZ_to_sRGB(colour.Lab_to_XYZ(grid, [0.3127, 0.3290]))
    assert srgb(grid) == pytest.approx(np.clip(theirs, 0, 1), abs=0.002)


def test_what_a_screen_cannot_show_is_held_at_its_edge():
    assert screen_colours([(99, 0, 20), (50, 120, -120)])[0].startswith("#ff")
    assert ((srgb((50, 120, -120)) >= 0) & (srgb((50, 120, -120)) <= 1)).all()
    with pytest.raises(CallError, match="lab"):
        srgb((1, 2))
