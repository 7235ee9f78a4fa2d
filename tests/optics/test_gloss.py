from __future__ import annotations

import numpy as np
import pytest

from aging.errors import CallError
from aging.optics.gloss import ANGLES_DEG, best_angle_deg, gloss_of_glass


def test_black_glass_is_100_at_every_angle():
    assert [float(gloss_of_glass(1.567, angle)) for angle in ANGLES_DEG] == [100, 100, 100]


def test_limits_of_the_angles():
    assert [best_angle_deg(gloss) for gloss in (0, 9.9, 10, 70, 70.1, 95)] == [
        85,
        85,
        60,
        60,
        20,
        20,
    ]


def test_what_cannot_be_is_refused():
    with pytest.raises(CallError, match="angle_deg: 45"):
        gloss_of_glass(1.5, 45)
    with pytest.raises(CallError, match="refractive index"):
        gloss_of_glass(np.array([1.5, 0.9]), 60)
    with pytest.raises(CallError, match="gloss_60"):
        best_angle_deg(-1)
