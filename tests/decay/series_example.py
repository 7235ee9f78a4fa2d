"""Ragged series of a known truth for the tests of the batch fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Truth:
    months: np.ndarray
    values: np.ndarray
    offsets: np.ndarray
    start: np.ndarray
    loss: np.ndarray
    rate: np.ndarray

    def one(self, series):
        here = slice(self.offsets[series], self.offsets[series + 1])
        return self.months[here], self.values[here]


def exposures(series, readings, *, noise=0.008, span=24.0, seed=1, drift=0.0):
    """Exponential approaches; `readings` is the number of readings or its (low, high)."""
    rng = np.random.default_rng(seed)
    low, high = (readings, readings) if isinstance(readings, int) else readings
    counts = rng.integers(low, high + 1, series)
    offsets = np.concatenate(([0], np.cumsum(counts)))
    months = rng.uniform(0, span, offsets[-1])
    months[offsets[:-1]] = 0
    owner = np.repeat(np.arange(series), counts)
    months = months[np.lexsort((months, owner))]
    start = rng.normal(0.84, 0.01, series)
    loss = rng.uniform(0.1, 0.25, series)
    rate = 0.15 * rng.lognormal(0, 0.4, series)
    path = start[owner] - loss[owner] * (1 - np.exp(-rate[owner] * months)) - drift * months
    values = path + rng.normal(0, noise, offsets[-1]) if noise else path
    return Truth(months, values, offsets, start, loss, rate)


def least_on_a_grid(months, values, column, parameters):
    """Least sum of squares over a grid of the curved parameter, by plain linear algebra."""
    least = np.inf
    for parameter in parameters:
        design = np.column_stack(column(months, parameter))
        design = design / np.linalg.norm(design, axis=0)
        fitted = design @ np.linalg.lstsq(design, values, rcond=None)[0]
        least = min(least, ((values - fitted) ** 2).sum())
    return least
