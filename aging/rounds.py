"""Rounds of reading at one site: panels x visits, whether single readings or a dense series.

A panel read nearly every day (a roof station's albedo) has no visits; its series is reduced to
dated states at average dryness on days without rain (decay/dense.py), which stand as rounds of
their own with a standard error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from aging.climate.soiling import dryness
from aging.decay.dense import dated_states, is_dense
from aging.decay.site import Array, Index

Moments = npt.NDArray[np.datetime64]
DAY = np.timedelta64(1, "D")
NOON = np.timedelta64(43_201, "s")  # and a second, when nobody reads


@dataclass(frozen=True)
class Rounds:
    """Values (P, V); first moment, soiling state above average, standard error of each (V,)."""

    values: Array
    moment: Moments
    dryness: Array
    error: Array

    def take(self, columns: Index) -> Rounds:
        """Rounds at positions `columns`."""
        rest = (self.moment[columns], self.dryness[columns], self.error[columns])
        return Rounds(self.values[:, columns], *rest)

    def and_then(self, other: Rounds) -> Rounds:
        """Both, these first."""
        return Rounds(
            np.hstack([self.values, other.values]),  # noqa: PD011 - arrays
            np.concatenate([self.moment, other.moment]),
            np.concatenate([self.dryness, other.dryness]),
            np.concatenate([self.error, other.error]),
        )


def rounds(values: Array, read_on: Moments, weather: pd.DataFrame) -> Rounds:
    """The columns of values (P, V) in which anything was read."""
    used = (~np.isnan(values)).any(axis=0)
    first = np.fmin.reduce(read_on[:, used], axis=0)
    state = dryness(weather)
    today = state.reindex(pd.DatetimeIndex(first).normalize()).to_numpy() - state.mean()
    return Rounds(values[:, used], first, np.nan_to_num(today), np.zeros(first.size))


def unwashed_rounds(
    values: Array, read_on: Moments, weather: pd.DataFrame, *, reduce: bool
) -> tuple[Rounds, tuple[str, ...]]:
    """Rounds by moment and, with `reduce`, dense series as dated states, and a note on those."""
    read = ~np.isnan(values)
    dense = np.array(
        [
            reduce and is_dense(np.sort(when[seen] - when[seen].min()) / DAY)
            for seen, when in zip(read, read_on, strict=True)
        ]
    )
    found = rounds(np.where(dense[:, None], np.nan, values), read_on, weather)
    notes: tuple[str, ...] = ()
    if dense.any():
        states = _reduced(values, read_on, dense, weather)
        found = found.and_then(states)
        told = f"{read[dense].sum()} readings of {dense.sum()} dense series"
        notes = (f"{told} were reduced to {states.moment.size} dated states",)
    return found.take(np.argsort(found.moment, kind="stable")), notes


def _reduced(
    values: Array, read_on: Moments, dense: npt.NDArray[np.bool_], weather: pd.DataFrame
) -> Rounds:
    origin = pd.Timestamp(np.nanmin(read_on[dense])).normalize()
    last = pd.Timestamp(np.nanmax(read_on[dense])).normalize()
    days = pd.date_range(origin, last, freq="D")
    state = dryness(weather).reindex(days)
    rain = weather.set_index(pd.to_datetime(weather["date"]))["rain_mm"].reindex(days)
    regressors = np.nan_to_num(np.stack([state - state.mean(), rain > 0], axis=1))
    series = [
        ((when[~np.isnan(row)] - origin.to_numpy()) / DAY, row[~np.isnan(row)])
        for row, when in zip(values[dense], read_on[dense], strict=True)
    ]
    found = dated_states(series, regressors)
    table = np.full((len(values), found.day.size), np.nan)
    table[dense] = found.value
    moment = days[found.day].to_numpy() + NOON
    return Rounds(table, moment, np.zeros(moment.size), found.error)
