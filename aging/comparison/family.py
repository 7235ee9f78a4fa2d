"""Intervals that hold for a whole family of differences at once.

Of draws (K, D) of K differences the pointwise interval of each is stretched about its median by one
factor c, the `level` quantile over the draws of the largest of

    (d_k - median_k) / (upper_k - median_k)  above the median,  the same with lower_k below it,

so that all K hold together with `level`. For normal draws that is the maximum of |t| over the joint
distribution: Dunnett's intervals where the family is the differences to one control, Tukey's where
it is all pairs (tests/published/test_multiple_comparisons.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aging.decay.site import Array

ROOM = 4_000_000  # numbers held at once


@dataclass(frozen=True)
class Intervals:
    """Median, pointwise and simultaneous ends of K differences, each (K,); factor c."""

    estimate: Array
    lower: Array
    upper: Array
    joint_lower: Array
    joint_upper: Array
    factor: float


def intervals(draws: Array, level: float) -> Intervals:
    """Pointwise and simultaneous intervals of draws (K, D)."""
    tail = (1 - level) / 2
    low, middle, high = np.quantile(draws, [tail, 0.5, 1 - tail], axis=1)
    below, above = middle - low, high - middle
    factor = _factor(draws, middle, below, above, level)
    return Intervals(middle, low, high, middle - factor * below, middle + factor * above, factor)


def bounds(draws: Array, level: float, *, above: bool) -> Array:
    """One-sided bounds (K,) of draws (K, D) that hold all at once, from above or from below."""
    middle, end = np.quantile(draws, [0.5, level if above else 1 - level], axis=1)
    reach, free = np.abs(end - middle), np.full(len(draws), np.inf)
    below, over = (free, reach) if above else (reach, free)
    return middle + _factor(draws, middle, below, over, level) * (end - middle)


def _factor(draws: Array, middle: Array, below: Array, above: Array, level: float) -> float:
    """How far the ends must be stretched so that all hold together."""
    alive = (below > 0) & (above > 0)
    farthest = np.zeros(draws.shape[1])
    step = max(1, ROOM // draws.shape[1])
    for first in range(0, len(draws), step):
        rows = slice(first, first + step)
        off = draws[rows][alive[rows]] - middle[rows][alive[rows], None]
        reach = np.where(off > 0, above[rows][alive[rows], None], below[rows][alive[rows], None])
        farthest = np.maximum(farthest, np.abs(off / reach).max(axis=0, initial=0.0))
    return max(1.0, float(np.quantile(farthest, level))) if alive.any() else 1.0


def rank_probabilities(draws: Array, *, higher_is_better: bool) -> Array:
    """Probability (F, F) that a formulation (row) has a rank (column, best first), of (F, D)."""
    order = np.argsort(-draws if higher_is_better else draws, axis=0)
    rank = np.argsort(order, axis=0)
    return np.stack([(rank == place).mean(axis=1) for place in range(len(draws))], axis=1)
