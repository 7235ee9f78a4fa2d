"""Many series of unequal length in one flat array, as compressed sparse rows hold them.

Series s owns the flat positions offsets[s] to offsets[s + 1] (exclusive).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from aging.errors import CallError, require

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
NAMED = 10  # series an error names before it says "..."


@dataclass(frozen=True)
class Ragged:
    """Where each series lies. `sum` needs every series to hold at least one reading."""

    offsets: IntArray

    @cached_property
    def counts(self) -> IntArray:
        """Readings per series (S,)."""
        return np.diff(self.offsets)

    def __len__(self) -> int:
        return len(self.offsets) - 1

    def sum(self, flat: FloatArray) -> FloatArray:
        """Sum over each series, (N,) to (S,)."""
        return np.add.reduceat(flat, self.offsets[:-1])

    def spread(self, per_series: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Repeat a value per series over its readings, (S,) to (N,)."""
        return np.repeat(per_series, self.counts)

    def take(self, series: npt.NDArray[np.integer[Any]]) -> tuple[Ragged, IntArray]:
        """The chosen series (repeats allowed) and the flat positions of their readings."""
        chosen = Ragged(np.concatenate(([0], np.cumsum(self.counts[series]))))
        shift = self.offsets[:-1][series] - chosen.offsets[:-1]
        return chosen, np.arange(chosen.offsets[-1]) + chosen.spread(shift)


def checked(
    months: npt.ArrayLike,
    values: npt.ArrayLike,
    offsets: npt.ArrayLike,
    weights: npt.ArrayLike | None,
) -> tuple[FloatArray, FloatArray, FloatArray | None, Ragged]:
    """The arrays as floats, each series in time order; CallError on what cannot be fitted."""
    t, y = np.array(months, float), np.asarray(values, float)
    w = None if weights is None else np.array(weights, float)
    rows = Ragged(np.asarray(offsets, np.intp))
    bounds = rows.offsets
    require(t.ndim == 1 and t.shape == y.shape, "shape of months and values",
            (t.shape, y.shape), "two flat arrays of equal length")  # fmt: skip
    require(bounds.ndim == 1 and bounds.size > 0 and bounds[0] == 0 and bounds[-1] == t.size
            and bool((rows.counts >= 0).all()), "offsets", offsets,
            f"rising whole numbers from 0 to the number of readings, {t.size}")  # fmt: skip
    _finite("months", t, rows)
    _finite("values", y, rows)
    if w is not None:
        require(w.shape == t.shape, "shape of weights", w.shape, t.shape)
        _finite("weights", np.where(w > 0, w, np.nan), rows, "positive finite numbers")
    same_series = np.ones(max(t.size - 1, 0), bool)
    same_series[bounds[(bounds > 0) & (bounds < t.size)] - 1] = False
    if bool(((np.diff(t) < 0) & same_series).any()):
        order = np.lexsort((t, rows.spread(np.arange(len(rows)))))
        t, y, w = t[order], y[order], None if w is None else w[order]
    return t, y, w, rows


def _finite(name: str, flat: FloatArray, rows: Ragged, allowed: str = "finite numbers") -> None:
    bad = np.flatnonzero(~np.isfinite(flat))
    if bad.size:
        series = np.unique(np.searchsorted(rows.offsets, bad, side="right") - 1)
        named = ", ".join(map(str, series[:NAMED])) + (", ..." if series.size > NAMED else "")
        raise CallError(
            f"{name}: {bad.size} not usable, in series {named}; allowed: {allowed}; "
            "leave missing readings out"
        )
