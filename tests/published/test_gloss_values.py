"""The gloss scale against reflectances of its black glass.

Fresnel reflectance of glass of index 1.567 at 20, 60 and 85 deg: 0.0491, 0.1001, 0.6191, as the
gloss standards print them (ASTM D523, ISO 2813: from memory). Gloss of ideal glass of index 1.50
and 1.52: computed by hand from Fresnel's equations, no published table seen.
"""

from __future__ import annotations

import pytest

from aging.optics import gloss
from aging.optics.gloss import ANGLES_DEG, gloss_of_glass


@pytest.mark.parametrize(("angle", "printed"), [(20, 0.0491), (60, 0.1001), (85, 0.6191)])
def test_reflectance_of_black_glass(angle, printed):
    found = float(gloss._fresnel(gloss.BLACK_GLASS, angle))  # noqa: SLF001
    assert found == pytest.approx(printed, abs=6e-5)


@pytest.mark.parametrize(
    ("index", "units"), [(1.50, (82.05, 89.14, 98.97)), (1.52, (87.32, 92.43, 99.32))]
)
def test_gloss_of_other_glass(index, units):
    found = [float(gloss_of_glass(index, angle)) for angle in ANGLES_DEG]
    assert found == pytest.approx(units, abs=0.005)
