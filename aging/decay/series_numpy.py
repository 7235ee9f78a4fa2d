"""Least rss(theta) of every series, in numpy: the readable engine (notation: problem.py).

From bound to bound in half octaves, then every dip of that grid is followed to its bottom, so that
a lesser minimum is not mistaken for the least one.
"""

from __future__ import annotations

import numpy as np

from aging.decay.problem import STEP, Problem, Solution, orthonormal, set_up
from aging.decay.ragged import FloatArray, Ragged
from aging.decay.shapes import Shape

TOLERANCE = 1e-10  # on the product of two steps, which bounds what a secant step leaves
MAX_STEPS = 80
MIDDLE = 2  # the first node with equally spaced neighbours


def solve(
    months: FloatArray, values: FloatArray, weights: FloatArray | None, rows: Ragged, shape: Shape,
    *, free_start: bool,
) -> Solution:  # fmt: skip
    """Fit every series; each needs as many distinct months as it has parameters."""
    problem = set_up(months, values, weights, rows, shape, free_start=free_start)
    theta, residual = problem.highest, problem.target
    coordinates, r = problem.coordinates, problem.r
    if shape.clock is not None:
        theta = minimise(problem)
        basis, m = list(problem.fixed), len(problem.fixed)
        r = np.zeros((m + 2, m + 2, len(rows)))
        r[:m, :m] = problem.r
        for j, column in enumerate(problem.columns(theta), start=m):
            r[: j + 1, j], q = orthonormal(column, basis, rows)
            basis.append(q)
        height = rows.sum(basis[m] * residual)
        residual = residual - basis[m] * rows.spread(height)
        coordinates = np.vstack((coordinates, height))
    return Solution(
        theta=theta, rss=rows.sum(residual**2), origin=problem.origin, span=problem.span,
        highest=problem.highest, r=r, coordinates=coordinates,
    )  # fmt: skip


def slope(problem: Problem, theta: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """rss, its derivative and its Gauss-Newton curvature at theta (S,)."""
    rows, y = problem.rows, problem.target
    f, d = problem.columns(theta)
    ff, fy, df = rows.sum(f * f), rows.sum(f * y), rows.sum(d * f)
    dd, dy = rows.sum(d * d), rows.sum(d * y)
    for q in problem.fixed:
        qf, qd = rows.sum(q * f), rows.sum(q * d)
        ff, df, dd = ff - qf * qf, df - qf * qd, dd - qd * qd
    b = fy / ff
    return rows.sum(y * y) - b * fy, -2 * b * (dy - b * df), 2 * b * b * (dd - df * df / ff)


def minimise(problem: Problem) -> FloatArray:
    """The theta (S,) of the least sum of squares between the bounds."""
    grid = problem.grid
    rss = np.stack([slope(problem, theta)[0] for theta in grid])
    rss[np.arange(len(grid))[:, None] > problem.steps + 1] = np.inf
    wall = np.full((1, grid.shape[1]), np.inf)
    below, above = np.vstack((wall, rss[:-1])), np.vstack((rss[1:], wall))
    node, dip = np.nonzero((rss <= below) & (rss < above))
    left, middle, right = (level[node, dip] for level in (below, rss, above))
    lean = 0.5 * (left - right) / (left - 2 * middle + right)
    lean[(node < MIDDLE) | np.isinf(right)] = 0
    theta, rss = _descend(
        problem.take(dip), grid[node, dip] + STEP * lean, grid[np.maximum(node - 1, 0), dip],
        grid[np.minimum(node + 1, problem.steps[dip] + 1), dip],
    )  # fmt: skip
    best_last = np.lexsort((-rss, dip))
    best = grid[0].copy()
    best[dip[best_last]] = theta[best_last]
    return best


def _descend(
    problem: Problem, start: FloatArray, lo: FloatArray, hi: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Follow each dip to its bottom, by secant on the derivative, bisection as safeguard."""
    theta = start.copy()
    rss = np.empty(theta.size)
    active, part, x = np.arange(theta.size), problem, start
    last_x = last_g = np.full(theta.size, np.nan)
    last_step = np.ones(theta.size)
    for _ in range(MAX_STEPS):
        value, g, h = slope(part, x)
        lo, hi = np.where(g > 0, lo, x), np.where(g > 0, x, hi)
        secant = (g - last_g) / (x - last_x)
        step = -g / np.where(np.isnan(secant), h, secant)
        inside = (x + step > lo) & (x + step < hi) & ~(secant < 0)
        step = np.where(inside, step, 0.5 * (lo + hi) - x)
        theta[active], rss[active] = x + step, value
        going = np.abs(step) * last_step > TOLERANCE
        if not going.any():
            break
        active, part = active[going], part.take(np.flatnonzero(going))
        last_step = np.where(inside & (secant > 0), np.abs(step), 1.0)[going]
        last_x, last_g, x, lo, hi = x[going], g[going], theta[active], lo[going], hi[going]
    return theta, rss
