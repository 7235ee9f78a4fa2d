"""Normal tolerance factors: how far from the mean of n a bound must lie to hold a share of all.

    bound = mean - k s  (or mean + k s),  s the standard deviation of n

The bound holds at least the share `content` of the population, with probability `confidence`. A
bound of the mean protects the average roof; this one protects most roofs. One-sided, exact, from
the noncentral t distribution: NIST/SEMATECH e-Handbook, 7.2.6.3.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import nctdtrit, ndtri

from aging.decay.ragged import FloatArray
from aging.errors import require


def one_sided_factor(
    n: npt.ArrayLike, content: float = 0.95, confidence: float = 0.95
) -> FloatArray:
    """Factor k of a lower or an upper bound from n independent values (2 or more), shape of n."""
    size = _checked(n, content, confidence)
    root = np.sqrt(size)
    return np.asarray(nctdtrit(size - 1, ndtri(content) * root, confidence) / root)


def _checked(n: npt.ArrayLike, content: float, confidence: float) -> FloatArray:
    size = np.asarray(n, float)
    require(bool((size >= 2).all()), "n", n, "2 or more")  # noqa: PLR2004 - a spread needs two
    for name, share in (("content", content), ("confidence", confidence)):
        require(0 < share < 1, name, share, "a number between 0 and 1")
    return size
