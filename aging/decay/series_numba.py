# ruff: noqa: PLR0917 - a compiled kernel takes its flat arrays one by one
"""The batch fit compiled: the same search as series_numpy, one series at a time, for thousands.

The grid costs two exponentials per reading: from octave to octave expm1(2 z) = f (f + 2).
Notation: problem.py; q and p are the two fixed columns of a series, zero where there are fewer.
Numbers of other modules come in as arguments: compiled code on disk would miss their change.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TypeVar, cast

import numba
import numpy as np

from aging.decay.problem import STEP, Solution
from aging.decay.ragged import FloatArray, IntArray, Ragged
from aging.decay.series_numpy import MAX_STEPS, TOLERANCE
from aging.decay.shapes import LOG_OF_ZERO, SATURATED, Shape

MOST_NODES = 2400  # half octaves between the smallest and the largest float, and some
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
        span=np.empty(series), highest=np.zeros(series),
        r=np.zeros((size, size, series)), coordinates=np.empty((m + curved, series)),
    )  # fmt: skip
    longest = rows.counts.max()
    _solve(
        months, values, np.ones(0) if weights is None else weights, rows.offsets,
        (int(free_start), int(shape.drifts), curved, shape.shifts), (STEP, TOLERANCE, MAX_STEPS),
        LOG_OF_ZERO, shape.lift, (shape.low, shape.dense, shape.high or 0.0, SATURATED),
        found.theta, found.rss, found.origin, found.span, found.highest, found.r,
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
    theta: float, clock: FloatArray, root: FloatArray, y: FloatArray, q: FloatArray, p: FloatArray,
    lift: float, f: FloatArray, d: FloatArray,
) -> tuple[float, float, float]:  # fmt: skip
    _columns(theta, clock, root, lift, f, d)
    ff = fy = df = dd = dy = yy = qf = qd = pf = pd = 0.0
    for i in range(y.size):
        ff += f[i] * f[i]
        fy += f[i] * y[i]
        df += f[i] * d[i]
        dd += d[i] * d[i]
        dy += d[i] * y[i]
        yy += y[i] * y[i]
        qf += q[i] * f[i]
        qd += q[i] * d[i]
        pf += p[i] * f[i]
        pd += p[i] * d[i]
    ff -= qf * qf + pf * pf
    df -= qf * qd + pf * pd
    dd -= qd * qd + pd * pd
    b = fy / ff
    return yy - b * fy, -2.0 * b * (dy - b * df), 2.0 * b * b * (dd - df * df / ff)


@compiled
def _node(j: int, ends: tuple[float, float], step: float, top: int) -> float:
    return ends[0] if j == 0 else ends[1] - step * (top - j)


@compiled
def _grid(
    ends: tuple[float, float], step: float, clock: FloatArray, root: FloatArray, y: FloatArray,
    q: FloatArray, p: FloatArray, lift: float, f: FloatArray, rss: FloatArray,
) -> None:  # fmt: skip
    yy, top = _dot(y, y), rss.size - 1
    for chain in range(3):  # the lower bound; the nodes 1, 3, 5 ...; the nodes 2, 4, 6 ...
        kappa = np.exp(_node(chain, ends, step, top))
        for i in range(y.size):
            f[i] = np.exp(kappa * clock[i]) - 1.0
        for node in range(chain, top + 1 if chain else 1, 2):
            ff = fy = qf = pf = 0.0
            for i in range(y.size):
                column = root[i] * (f[i] + lift)
                ff += column * column
                fy += column * y[i]
                qf += column * q[i]
                pf += column * p[i]
                f[i] *= f[i] + 2.0
            rss[node] = yy - fy * fy / (ff - qf * qf - pf * pf)


@compiled
def _least(
    ends: tuple[float, float], search: tuple[float, float, int], clock: FloatArray,
    root: FloatArray, y: FloatArray, q: FloatArray, p: FloatArray, lift: float, f: FloatArray,
    d: FloatArray, rss: FloatArray,
) -> float:  # fmt: skip
    grid_step, tolerance, max_steps = search
    _grid(ends, grid_step, clock, root, y, q, p, lift, f, rss)
    top, least, best = rss.size - 1, np.inf, ends[0]
    for node in range(top + 1):
        if (node > 0 and rss[node] > rss[node - 1]) or (node < top and rss[node] >= rss[node + 1]):
            continue
        lean = 0.0
        if 1 < node < top:
            left, right = rss[node - 1], rss[node + 1]
            lean = 0.5 * (left - right) / (left - 2.0 * rss[node] + right)
        low = _node(max(node - 1, 0), ends, grid_step, top)
        high = _node(min(node + 1, top), ends, grid_step, top)
        x = _node(node, ends, grid_step, top) + grid_step * lean
        value, last_x, last_g, last_step = np.inf, np.nan, np.nan, 1.0
        for _ in range(max_steps):
            value, g, h = _slope(x, clock, root, y, q, p, lift, f, d)
            if g > 0:
                high = x
            else:
                low = x
            secant = (g - last_g) / (x - last_x)
            step = -g / (h if np.isnan(secant) else secant)
            inside = low < x + step < high and not secant < 0
            if not inside:
                step = 0.5 * (low + high) - x
            last_x, last_g, x = x, g, x + step
            if abs(step) * last_step <= tolerance:
                break
            last_step = abs(step) if inside and secant > 0 else 1.0
        if value < least:
            least, best = value, x
    return best


@compiled
def _solve(
    months: FloatArray, values: FloatArray, weights: FloatArray, offsets: IntArray,
    kind: tuple[int, int, bool, bool], search: tuple[float, float, int],
    log_of_zero: float, lift: float, bounds: tuple[float, float, float, float],
    theta: FloatArray, rss: FloatArray, origin: FloatArray, span: FloatArray, highest: FloatArray,
    r: FloatArray, coordinates: FloatArray,
    room: FloatArray, basis: FloatArray, grid: FloatArray,
) -> None:  # fmt: skip
    free, drifts, curved, shifts = kind
    low, dense, high, saturated = bounds
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
            line = root[i] * u * drifts
            basis[0, i], basis[1, i] = (root[i], line) if free else (line, 0.0)
            clock[i] = -u
            if not shifts:
                clock[i] = np.log(u) if u > 0 else log_of_zero
            if clock[i] < 0:
                gap = min(gap, -clock[i])
        for j in range(m):
            _orthonormal(basis, j, n, r, s)
            coordinates[j, s] = _take_out(basis, j, y)
        if curved:
            highest[s] = np.log(high if high > 0 else saturated / gap)
            steps = int((highest[s] - np.log(dense)) / search[0] + 1e-9)
            theta[s] = _least(
                (np.log(low), highest[s]), search, clock, root, y, basis[0, :n], basis[1, :n],
                lift, f, d, grid[: steps + 2],
            )  # fmt: skip
            _columns(theta[s], clock, root, lift, basis[m, :n], basis[m + 1, :n])
            _orthonormal(basis, m, n, r, s)
            _orthonormal(basis, m + 1, n, r, s)
            coordinates[m, s] = _take_out(basis, m, y)
        rss[s] = _dot(y, y)
