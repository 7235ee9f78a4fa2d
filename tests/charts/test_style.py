"""Colours are told apart by everyone, on the page's own background."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from aging.charts import style

# Machado, Oliveira, Fernandes 2009, severity 1.0, on linear sRGB.
VISION = {
    "normal": np.eye(3),
    "protanopia": np.array([
        [0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ]),
    "deuteranopia": np.array([
        [0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ]),
    "tritanopia": np.array([
        [1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ]),
}  # fmt: skip
XYZ = np.array([
    [0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
    [0.0193339, 0.1191920, 0.9503041],
])  # fmt: skip


def linear(colour: str) -> np.ndarray:
    c = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    t = XYZ @ np.clip(rgb, 0, 1) / XYZ.sum(axis=1)
    f = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one: str, other: str) -> float:
    low, high = sorted(float(XYZ[1] @ linear(colour)) for colour in (one, other))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("vision", VISION)
def test_every_two_colours_stay_29_lab_units_apart(vision):
    seen = [lab(VISION[vision] @ linear(colour)) for colour in style.PALETTE]
    assert min(np.linalg.norm(a - b) for a, b in combinations(seen, 2)) >= 29


def test_the_check_fails_on_a_red_green_pair():
    red, green = (lab(VISION["deuteranopia"] @ linear(c)) for c in ("#b3540a", "#8a8100"))
    assert np.linalg.norm(red - green) < 29


@pytest.mark.parametrize("colour", style.PALETTE)
def test_marks_stand_out_from_the_page(colour):
    assert contrast(colour, style.PAGE) >= 3


@pytest.mark.parametrize("colour", [style.INK, style.MUTED])
def test_words_on_a_chart_are_readable(colour):
    assert contrast(colour, style.PAGE) >= 4.5


def test_more_names_than_colours_repeat_with_another_shape():
    names = [f"site {i}" for i in range(20)]
    looks = zip(style.cycle(names, style.PALETTE), style.cycle(names, style.SHAPES), strict=True)
    assert len(set(looks)) == 20
