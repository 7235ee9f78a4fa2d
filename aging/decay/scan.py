"""The scan behind profile intervals: a target and its half width along theta = log kappa.

Notation: profile.py. Every step works on all series at once.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from aging.decay.estimate import loss_scale, upper_inverse
from aging.decay.outcome import IntervalOutcome
from aging.decay.problem import STEP, Problem
from aging.decay.ragged import FloatArray
from aging.decay.series import AT_BOUND

SCAN = 33  # points between the ends of what the data allow for theta
BISECTIONS = 40
GOLDEN = 0.5 * (np.sqrt(5.0) - 1)
STILL_MOVING = 0.1  # of the width, over the last octave before the bound: no limit there


class Scan:
    """The target along theta for all series of a problem."""

    def __init__(self, problem: Problem, limit: FloatArray, target: str, month: float) -> None:
        self.problem, self.limit, self.target = problem, limit, target
        shape, m = problem.shape, len(problem.fixed)
        self.u = (month - problem.origin) / problem.span
        wanted = np.zeros((m, len(limit)))
        if target == "drift":
            wanted[-1] = -1 / problem.span
        elif target in {"value", "start"}:
            wanted[: m - shape.drifts], wanted[m - shape.drifts :] = 1.0, self.u
        self.fixed = np.einsum("ijs,is->js", upper_inverse(problem.r), wanted)
        self.grid = problem.grid
        self.total = problem.rows.sum(problem.target**2)

    def at(self, theta: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """rss, target and the half width the data allow around it, at theta (S,)."""
        problem, rows = self.problem, self.problem.rows
        rss = self.total
        centre, v = (self.fixed * problem.coordinates).sum(axis=0), (self.fixed**2).sum(axis=0)
        if problem.shape.clock is not None:
            f, _ = problem.columns(theta)
            along = np.array([rows.sum(q * f) for q in problem.fixed]).reshape(self.fixed.shape)
            left = rows.sum(f * f) - (along**2).sum(axis=0)
            height = rows.sum(f * problem.target) / np.sqrt(left)
            weight = (self._curved(theta) - (along * self.fixed).sum(axis=0)) / np.sqrt(left)
            rss, centre, v = rss - height**2, centre + weight * height, v + weight**2
        return rss, centre, np.sqrt(v * np.maximum(self.limit - rss, 0.0))

    def _curved(self, theta: FloatArray) -> FloatArray:
        shape, kappa = self.problem.shape, np.exp(theta)
        if self.target == "loss":
            return loss_scale(shape, kappa, self.problem.origin, self.problem.span)
        if self.target == "drift" or shape.clock is None:
            return np.zeros_like(theta)
        return np.expm1(kappa * shape.clock(self.u)) + shape.lift

    def ends(self, rate: FloatArray) -> tuple[FloatArray, FloatArray, npt.NDArray[np.int8]]:
        """Lower and upper end and IntervalOutcome codes (S,); rate is the fitted one."""
        problem = self.problem
        if problem.shape.clock is None:
            _, centre, half = self.at(rate)
            return centre - half, centre + half, np.zeros(len(rate), np.int8)
        unit = problem.span if problem.shape.shifts else np.ones_like(rate)
        best = np.clip(np.log(rate * unit), self.grid[0], problem.highest)
        left, right = self._allowed(best)
        free_left = left <= self.grid[0] + AT_BOUND
        free_right = right >= problem.highest - AT_BOUND
        if self.target == "rate":
            lower, upper = np.exp(left) / unit, np.exp(right) / unit
            lower[free_left], upper[free_right] = 0.0, np.inf
            return lower, upper, _code(free_left, free_right)
        grid = left + np.linspace(0, 1, SCAN)[:, None] * (right - left)
        grid[-1] = right
        centre, half = np.moveaxis(np.array([self.at(theta)[1:] for theta in grid]), 1, 0)
        lower = -self._highest(grid, half - centre, -1.0)
        upper = self._highest(grid, half + centre, 1.0)
        open_below, open_above = np.zeros(len(rate), bool), np.zeros(len(rate), bool)
        for free, bound, inwards in ((free_left, left, 2 * STEP), (free_right, right, -2 * STEP)):
            (_, end, end_half), (_, inner, inner_half) = self.at(bound), self.at(bound + inwards)
            moving = free * STILL_MOVING * (upper - lower)
            open_below |= free & ((inner - inner_half) - (end - end_half) > moving)
            open_above |= free & ((end + end_half) - (inner + inner_half) > moving)
        lower[open_below], upper[open_above] = -np.inf, np.inf
        return lower, upper, _code(open_below, open_above)

    def _allowed(self, best: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Outermost theta on either side of the best whose rss is within the limit."""
        grid = self.grid
        within = np.array([self.at(theta)[0] for theta in grid]) <= self.limit
        inner_left = np.minimum(best, np.where(within, grid, np.inf).min(axis=0))
        inner_right = np.maximum(best, np.where(within, grid, -np.inf).max(axis=0))
        outer_left = np.where(grid < inner_left - AT_BOUND, grid, grid[0]).max(axis=0)
        outer_right = np.where(grid > inner_right + AT_BOUND, grid, grid[-1]).min(axis=0)
        return self._edge(inner_left, outer_left), self._edge(inner_right, outer_right)

    def _edge(self, inside: FloatArray, outside: FloatArray) -> FloatArray:
        within = self.at(outside)[0] <= self.limit
        inside = np.where(within, outside, inside)
        for _ in range(BISECTIONS):
            middle = 0.5 * (inside + outside)
            within = self.at(middle)[0] <= self.limit
            inside, outside = np.where(within, middle, inside), np.where(within, outside, middle)
        return inside

    def _highest(self, grid: FloatArray, height: FloatArray, sign: float) -> FloatArray:
        """Maximum of sign * target + half width, from its values on a grid, by golden section."""
        series = np.arange(grid.shape[1])
        peak = height.argmax(axis=0)
        low = grid[np.maximum(peak - 1, 0), series]
        high = grid[np.minimum(peak + 1, SCAN - 1), series]

        def at(theta: FloatArray) -> FloatArray:
            _, centre, half = self.at(theta)
            return np.asarray(sign * centre + half)

        return np.maximum(_golden(at, low, high), height[peak, series])


def _code(below: npt.NDArray[np.bool_], above: npt.NDArray[np.bool_]) -> npt.NDArray[np.int8]:
    return (below * IntervalOutcome.OPEN_BELOW + above * IntervalOutcome.OPEN_ABOVE).astype(np.int8)


def _golden(
    at: Callable[[FloatArray], FloatArray], low: FloatArray, high: FloatArray
) -> FloatArray:
    """Largest value of a function with one peak, element by element."""
    a, b = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    at_a, at_b = at(a), at(b)
    for _ in range(BISECTIONS):
        left = at_a > at_b
        low, high = np.where(left, low, a), np.where(left, b, high)
        inner = np.where(left, high - GOLDEN * (high - low), low + GOLDEN * (high - low))
        value = at(inner)
        a, b = np.where(left, inner, b), np.where(left, a, inner)
        at_a, at_b = np.where(left, value, at_b), np.where(left, at_a, value)
    return np.maximum(at_a, at_b)
