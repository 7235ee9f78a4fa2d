# ruff: noqa: PLR0917 - a compiled kernel takes its flat arrays one by one
"""The batch fit compiled: the same search as series_numpy, one series at a time, for thousands.

The grid costs one exponential per reading: from octave to octave expm1(2 z) = f (f + 2).
Notation: problem.py. q holds the orthonormal columns of the series at hand as rows.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TypeVar, cast

import numba
import numpy as np

from aging.decay.problem import OCTAVE, Solution
from aging.decay.ragged import FloatArray, IntArray, Ragged
from aging.decay.series_numpy import MAX_STEPS, TOLERANCE
from aging.decay.shapes import LOG_OF_ZERO, SATURATED, Shape

MOST_NODES = 1200  # octaves between the smallest and the largest float, and some
Function = TypeVar("Function", bound=Callable[..., object])
njit = partial(
    numba.njit, nogil=True, error_model="numpy", fastmath={"reassoc", "contract", "nsz"}
)  # fmt: skip


def compiled(function: Function) -> Function:
    """Compile without the interpreter lock, kept on disk where a folder can be written."""
    try:
        return cast("Function", njit(function, cache=True))
    except RuntimeError:  # neither this folder nor a user's cache can be written
        return cast("Function", njit(function))


def solve(
    months: FloatArray, values: FloatArray, weights: FloatArray | None, rows: Ragged, shape: Shape,
    *, free_start: bool,
) -> Solution:  # fmt: skip
    """Fit every series; each needs as many distinct months as it has parameters."""
    curved, m = shape.clock is not None, free_start + shape.drifts
    size, series = m + 2 * curved, len(rows)
    found = Solution(
        theta=np.zeros(series), rss=np.empty(series), origin=np.empty(series),
        span=np.empty(series), lowest=np.zeros(series), nodes=np.ones(series, np.intp),
        r=np.zeros((size, size, series)), coordinates=np.empty((m + curved, series)),
    )  # fmt: skip
    longest = rows.counts.max()
    _solve(
        months, values, np.ones(0) if weights is None else weights, rows.offsets,
        (int(free_start), int(shape.drifts), curved, shape.shifts), shape.lift, shape.low,
        shape.high or 0.0,
        found.theta, found.rss, found.origin, found.span, found.lowest, found.nodes, found.r,
        found.coordinates,
        np.empty((5, longest)), np.empty((4, longest)), np.empty(MOST_NODES),
    )  # fmt: skip
    return found


@compiled
def _dot(x: FloatArray, y: FloatArray) -> float:
    total = 0.0
    for i in range(x.size):
        total += x[i] * y[i]
    return total


@compiled
def _orthonormal(q: FloatArray, j: int, n: int, r: FloatArray, s: int) -> None:
    column = q[j, :n]
    for i in range(j):
        along = _dot(q[i, :n], column)
        r[i, j, s] = along
        for k in range(n):
            column[k] -= along * q[i, k]
    length = np.sqrt(_dot(column, column))
    r[j, j, s] = length
    for k in range(n):
        column[k] /= length


@compiled
def _take_out(q: FloatArray, j: int, y: FloatArray) -> float:
    along = _dot(q[j, : y.size], y)
    for k in range(y.size):
        y[k] -= along * q[j, k]
    return along


@compiled
def _columns(
    theta: float, clock: FloatArray, root: FloatArray, lift: float, f: FloatArray, d: FloatArray
) -> None:
    kappa = np.exp(theta)
    for i in range(clock.size):
        f[i] = np.exp(kappa * clock[i])
    for i in range(clock.size):
        d[i] = root[i] * kappa * clock[i] * f[i]
        f[i] = root[i] * (f[i] - 1.0 + lift)


@compiled
def _slope(
    theta: float, clock: FloatArray, root: FloatArray, y: FloatArray, q: FloatArray, m: int,
    lift: float, f: FloatArray, d: FloatArray,
) -> tuple[float, float, float]:  # fmt: skip
    _columns(theta, clock, root, lift, f, d)
    ff = fy = df = dd = dy = yy = 0.0
    for i in range(y.size):
        ff += f[i] * f[i]
        fy += f[i] * y[i]
        df += f[i] * d[i]
        dd += d[i] * d[i]
        dy += d[i] * y[i]
        yy += y[i] * y[i]
    for j in range(m):
        qf, qd = _dot(q[j, : y.size], f), _dot(q[j, : y.size], d)
        ff -= qf * qf
        df -= qf * qd
        dd -= qd * qd
    b = fy / ff
    return yy - b * fy, -2.0 * b * (dy - b * df), 2.0 * b * b * (dd - df * df / ff)


@compiled
def _grid(
    kappa: float, clock: FloatArray, root: FloatArray, y: FloatArray, q: FloatArray, m: int,
    lift: float, f: FloatArray, d: FloatArray, rss: FloatArray,
) -> None:  # fmt: skip
    for i in range(y.size):
        f[i] = np.exp(kappa * clock[i]) - 1.0
    yy = _dot(y, y)
    for node in range(rss.size):
        ff = fy = 0.0
        for i in range(y.size):
            d[i] = root[i] * (f[i] + lift)
            ff += d[i] * d[i]
            fy += d[i] * y[i]
            f[i] *= f[i] + 2.0
        for j in range(m):
            ff -= _dot(q[j, : y.size], d) ** 2
        rss[node] = yy - fy * fy / ff


@compiled
def _least(
    lowest: float, clock: FloatArray, root: FloatArray, y: FloatArray, q: FloatArray, m: int,
    lift: float, f: FloatArray, d: FloatArray, rss: FloatArray,
) -> float:  # fmt: skip
    _grid(np.exp(lowest), clock, root, y, q, m, lift, f, d, rss)
    top, least, best = rss.size - 1, np.inf, lowest
    for node in range(top + 1):
        if (node > 0 and rss[node] > rss[node - 1]) or (node < top and rss[node] >= rss[node + 1]):
            continue
        lean = 0.0
        if 0 < node < top:
            left, right = rss[node - 1], rss[node + 1]
            lean = 0.5 * (left - right) / (left - 2.0 * rss[node] + right)
        low, high = lowest + OCTAVE * max(node - 1, 0), lowest + OCTAVE * min(node + 1, top)
        x = lowest + OCTAVE * (node + lean)
        value, last_x, last_g, last_step = np.inf, np.nan, np.nan, 1.0
        for _ in range(MAX_STEPS):
            value, g, h = _slope(x, clock, root, y, q, m, lift, f, d)
            if g > 0:
                high = x
            else:
                low = x
            secant = (g - last_g) / (x - last_x)
            step = -g / (secant if secant > 0 else h)
            inside = low < x + step < high
            if not inside:
                step = 0.5 * (low + high) - x
            last_x, last_g, x = x, g, x + step
            if abs(step) * last_step <= TOLERANCE:
                break
            last_step = abs(step) if inside else 1.0
        if value < least:
            least, best = value, x
    return best


@compiled
def _solve(
    months: FloatArray, values: FloatArray, weights: FloatArray, offsets: IntArray,
    kind: tuple[int, int, bool, bool], lift: float, low: float, high: float,
    theta: FloatArray, rss: FloatArray, origin: FloatArray, span: FloatArray, lowest: FloatArray,
    nodes: IntArray, r: FloatArray, coordinates: FloatArray,
    room: FloatArray, basis: FloatArray, grid: FloatArray,
) -> None:  # fmt: skip
    free, drifts, curved, shifts = kind
    m = free + drifts
    for s in range(theta.size):
        first, n = offsets[s], offsets[s + 1] - offsets[s]
        clock, root, y, f, d = room[0, :n], room[1, :n], room[2, :n], room[3, :n], room[4, :n]
        origin[s] = months[first] if free and shifts else 0.0
        span[s] = months[first + n - 1] - origin[s]
        gap = np.inf
        for i in range(n):
            u = (months[first + i] - origin[s]) / span[s]
            root[i] = np.sqrt(weights[first + i]) if weights.size else 1.0
            y[i] = root[i] * values[first + i]
            basis[0, i], basis[free, i] = root[i], root[i] * u if drifts else root[i]
            clock[i] = -u
            if not shifts:
                clock[i] = np.log(u) if u > 0 else LOG_OF_ZERO
            if clock[i] < 0:
                gap = min(gap, -clock[i])
        for j in range(m):
            _orthonormal(basis, j, n, r, s)
            coordinates[j, s] = _take_out(basis, j, y)
        if curved:
            top = high if high > 0 else SATURATED / gap
            octaves = int(np.ceil(np.log2(top / low) - 1e-9))
            lowest[s], nodes[s] = np.log(top) - OCTAVE * octaves, octaves + 1
            theta[s] = _least(
                lowest[s], clock, root, y, basis, m, lift, f, d, grid[: nodes[s]]
            )  # fmt: skip
            _columns(theta[s], clock, root, lift, basis[m, :n], basis[m + 1, :n])
            _orthonormal(basis, m, n, r, s)
            _orthonormal(basis, m + 1, n, r, s)
            coordinates[m, s] = _take_out(basis, m, y)
        rss[s] = _dot(y, y)
