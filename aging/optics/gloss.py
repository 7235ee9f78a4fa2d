"""Specular gloss: the scale of ASTM D523 by Fresnel, and the angle that tells surfaces apart.

The scale is 100 at each angle for polished black glass of refractive index 1.567, so that a tile
of another glass has the assigned value 100 F(n, angle) / F(1.567, angle). A surface is read at 60
deg first; above 70 there it is told apart better at 20 deg, below 10 at 85 deg.

Source: ASTM D523, ISO 2813 (angles, index and limits from memory); Fresnel's equations.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aging.errors import require

ANGLES_DEG = (20, 60, 85)
BLACK_GLASS = 1.567
LOWEST_AT_60, HIGHEST_AT_60 = 10.0, 70.0


def gloss_of_glass(index: ArrayLike, angle_deg: int) -> NDArray[np.float64]:
    """Gloss units (...) of polished black glass of a refractive index (...), above 1."""
    require(angle_deg in ANGLES_DEG, "angle_deg", angle_deg, ANGLES_DEG)
    n = np.asarray(index, np.float64)
    require(bool(np.all(n > 1)), "refractive index", n.min(), "above 1")
    return 100 * _fresnel(n, angle_deg) / _fresnel(np.float64(BLACK_GLASS), angle_deg)


def best_angle_deg(gloss_60: float) -> int:
    """Angle at which a surface of this gloss at 60 deg is to be read."""
    require(gloss_60 >= 0, "gloss_60", gloss_60, "0 or more")
    return 85 if gloss_60 < LOWEST_AT_60 else 20 if gloss_60 > HIGHEST_AT_60 else 60


def _fresnel(n: NDArray[np.float64] | np.float64, angle_deg: float) -> NDArray[np.float64]:
    """Reflectance of unpolarised light on a dielectric of index n in air."""
    cos = np.cos(np.radians(angle_deg))
    inside = np.sqrt(n**2 - np.sin(np.radians(angle_deg)) ** 2)
    across = (cos - inside) / (cos + inside)
    along = (n**2 * cos - inside) / (n**2 * cos + inside)
    return np.asarray((across**2 + along**2) / 2)
