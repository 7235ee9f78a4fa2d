"""L*, a*, b* as a screen shows them: sRGB, to look at and never to measure by.

The white of L*a*b*, whatever its illuminant and observer, becomes the white of the screen (D65):
X, Y, Z are scaled by the ratio of the two whites, so that only the ratios L*a*b* holds are needed.
What a screen cannot show is held to its nearest edge, channel by channel.

Sources: CIE 15 (L*a*b* back to X, Y, Z); IEC 61966-2-1 (matrix and curve of sRGB): from memory,
held to the library colour-science in the tests.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aging.errors import require

KAPPA, EPSILON = 24389 / 27, 216 / 24389
D65 = np.array([0.95047, 1.0, 1.08883])
TO_RGB = np.array([
    [3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570],
])  # fmt: skip


def srgb(lab: ArrayLike) -> NDArray[np.float64]:
    """Red, green, blue of sRGB (..., 3), 0 to 1, of L*, a*, b* (..., 3)."""
    at = np.asarray(lab, float)
    require(at.shape[-1:] == (3,), "lab", at.shape, "(..., 3)")
    y = (at[..., 0] + 16) / 116
    f = np.stack([y + at[..., 1] / 500, y, y - at[..., 2] / 200], axis=-1)
    ratio = np.where(f**3 > EPSILON, f**3, (116 * f - 16) / KAPPA)
    linear = np.clip((ratio * D65) @ TO_RGB.T, 0, 1)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)  # noqa: PLR2004


def screen_colours(lab: ArrayLike) -> list[str]:
    """Colours such as "#f4f3ee" of L*, a*, b* (n, 3)."""
    levels = np.rint(255 * np.atleast_2d(srgb(lab))).astype(int)
    return ["#{:02x}{:02x}{:02x}".format(*map(int, row)) for row in levels]
