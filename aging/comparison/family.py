"""Intervals that hold for a whole family of differences at once.

Of draws (K, D) of K differences the pointwise interval of each is stretched about its median by one
factor c, the `level` quantile over the draws of the largest of

    (d_k - median_k) / (upper_k - median_k)  above the median,  the same with lower_k below it,

so that all K hold together with `level`. For normal draws that is the maximum of |t| over the joint
distribution: Dunnett's intervals where the family is the differences to one control, Tukey's where
it is all pairs (tests/published/test_multiple_comparisons.py). Differences are made a block at a
time, twice, and never held at once: 19,900 pairs of 200 formulations would be 320 MB.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aging.decay.site import Array, Index

BLOCK = 64  # rows of draws that stay in the processor's cache
MANY = 2000  # differences, from which on single precision does: 7 digits


@dataclass(frozen=True)
class Gaps:
    """Differences of pairs, block by block; parts: draws (F, D), first and second row of each."""

    parts: tuple[tuple[Array, Index, Index], ...]

    def __iter__(self) -> Iterator[Array]:
        many = sum(len(first) for _, first, _ in self.parts) > MANY
        for draws, first, second in self.parts:
            drawn: Array = draws.astype(np.float32 if many else np.float64)
            for start in range(0, len(first), BLOCK):
                rows = slice(start, start + BLOCK)
                yield drawn[first[rows]] - drawn[second[rows]]


@dataclass(frozen=True)
class Intervals:
    """Median, pointwise and simultaneous ends of K differences, each (K,); factor c.

    bound: one-sided ones that hold all at once.
    """

    estimate: Array
    lower: Array
    upper: Array
    joint_lower: Array
    joint_upper: Array
    bound: Array
    factor: float


def intervals(draws: Array | Iterable[Array], level: float, *, above: bool = False) -> Intervals:
    """Pointwise and simultaneous intervals of draws (K, D), or of blocks of them.

    above: whether the one-sided bounds are upper ones.
    """
    blocks = [draws] if isinstance(draws, np.ndarray) else draws
    tail, side = (1 - level) / 2, level if above else 1 - level
    low, middle, high, end = np.concatenate([
        _quantiles(block, (tail, 0.5, 1 - tail, side)) for block in blocks
    ], axis=1)  # fmt: skip
    below, over, reach = middle - low, high - middle, end - middle
    alive = (below > 0) & (over > 0)
    up, down, out = _inverse(over, alive), _inverse(-below, alive), _inverse(reach, reach != 0)
    first, both, one_sided = 0, np.zeros(1), np.zeros(1)
    for block in blocks:
        rows = slice(first, first + len(block))
        first += len(block)
        off = block - middle[rows, None].astype(block.dtype)
        for weight in (up, down):
            both = np.maximum(both, _farthest(off, weight[rows]))
        one_sided = np.maximum(one_sided, _farthest(off, out[rows]))
    factor, stretch = (max(1.0, float(np.quantile(one, level))) for one in (both, one_sided))
    return Intervals(
        middle, low, high, middle - factor * below, middle + factor * over,
        middle + stretch * reach, factor,
    )  # fmt: skip


def _quantiles(block: Array, wanted: Iterable[float]) -> Array:
    """Quantiles (Q, k) of rows, linear between draws."""
    rising, last = np.sort(block, axis=1), block.shape[1] - 1
    place = np.array(tuple(wanted)) * last
    low = np.minimum(place.astype(int), max(last - 1, 0))
    start, stop = (rising[:, at].T.astype(np.float64) for at in (low, np.minimum(low + 1, last)))
    return np.asarray(start + (place - low)[:, None] * (stop - start))


def _inverse(reach: Array, alive: NDArray[np.bool_]) -> Array:
    return np.divide(1.0, reach, out=np.zeros_like(reach), where=alive)


def _farthest(off: Array, weight: Array) -> Array:
    """Largest of the rows, each weighed, (D,)."""
    return np.asarray((off * weight[:, None].astype(off.dtype)).max(axis=0), np.float64)


def chances(draws: Iterable[Array], sign: float, worthwhile: float, margin: float) -> Array:
    """Probability (3, K) of better than none, than `worthwhile`, and of less than `margin` off."""
    return np.concatenate([
        [(better > 0).mean(axis=1), (better > worthwhile).mean(axis=1),
         (np.abs(block) < margin).mean(axis=1)]
        for block in draws for better in [block if sign > 0 else -block]
    ], axis=1)  # fmt: skip


def rank_probabilities(draws: Array, *, higher_is_better: bool) -> Array:
    """Probability (F, F) that a formulation (row) has a rank (column, best first), of (F, D)."""
    order = np.argsort(-draws if higher_is_better else draws, axis=0)
    rank = np.argsort(order, axis=0)
    return np.stack([(rank == place).mean(axis=1) for place in range(len(draws))], axis=1)
