"""A composition that no panel has: the figure on a surface through those exposed.

The surface is a plane in all additives plus a smooth departure from it (Gaussian process, its
length the studied range, its size on a grid and weighed by the evidence). The joint draws of the
exposed formulations enter by their mean and covariance. It holds only within the convex hull of
the compositions exposed: outside nothing was seen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from aging.comparison.factorial import design_of, figures
from aging.decay.site import Array
from aging.errors import CallError, require
from aging.projection import Fit

DEPARTURES = (0.0, 0.25, 0.5, 1.0, 2.0)  # of the spread of y, equally likely beforehand


@dataclass(frozen=True)
class Between:
    """Projected figure of a composition: estimate and interval."""

    composition: dict[str, float]
    estimate: float
    lower: float
    upper: float
    level: float


def between(
    fitted: Fit,
    composition: pd.DataFrame,
    wanted: Mapping[str, float],
    months: float = 36.0,
    level: float = 0.90,
    *,
    figure: str = "state",
) -> Between:
    """The figure of a composition within the studied region, exposed or not; else CallError."""
    from scipy.stats import norm

    table = design_of(fitted, composition)
    names = [str(name) for name in table]
    require(set(wanted) == set(names), "composition", sorted(wanted), sorted(names))
    span = table.max() - table.min()
    scaled = ((table - table.min()) / span).to_numpy()
    point = ((pd.Series(wanted)[names] - table.min()) / span).to_numpy()
    _within(scaled, point, wanted, table)
    _, y = figures(fitted, months)[figure].over_sites(table.index)
    mean, var = _surface(scaled, point, y.mean(axis=1), np.cov(y))
    reach = norm.ppf((1 + level) / 2) * np.sqrt(var)
    return Between(dict(wanted), mean, mean - reach, mean + reach, level)


def _within(known: Array, point: Array, wanted: Mapping[str, float], table: pd.DataFrame) -> None:
    """CallError unless the point is a convex mixture of the known ones."""
    from scipy.optimize import linprog

    rows = np.vstack([known.T, np.ones(len(known))])
    mixed = linprog(np.zeros(len(known)), A_eq=rows, b_eq=np.append(point, 1.0))
    if mixed.status != 0:
        studied = ", ".join(f"{n} {table[n].min():g} to {table[n].max():g}" for n in table)
        told = ", ".join(f"{name} {value:g}" for name, value in wanted.items())
        raise CallError(
            f"composition: {told} is outside what was exposed ({studied}, and mixtures of those"
            " compositions); nothing is known there: expose a panel of it"
        )


def _surface(known: Array, point: Array, mean: Array, cov: Array) -> tuple[float, float]:
    """Mean and variance at a point, over the sizes of the departure from a plane."""
    gap = ((known[:, None] - known[None]) ** 2).sum(-1)
    near, at = np.exp(-gap / 2), np.exp(-((known - point) ** 2).sum(-1) / 2)
    rows = np.column_stack([np.ones(len(known)), known])
    row = np.append(1.0, point)
    means, variances, score = [], [], []
    for size in np.array(DEPARTURES) * max(float(mean.std()), 1e-9):
        whole = cov + size**2 * near
        inverse = np.linalg.inv(whole)
        precision = rows.T @ inverse @ rows
        beta = np.linalg.solve(precision, rows.T @ inverse @ mean)
        off, pull = mean - rows @ beta, inverse @ (size**2 * at)
        left = row - rows.T @ pull
        means.append(row @ beta + pull @ off)
        variances.append(size**2 - size**2 * at @ pull + left @ np.linalg.solve(precision, left))
        logs = np.linalg.slogdet(whole)[1] + np.linalg.slogdet(precision)[1]
        score.append(-(off @ inverse @ off + logs) / 2)
    weight = np.exp(np.array(score) - max(score))
    weight /= weight.sum()
    middle = float(weight @ means)
    spread = weight @ (np.array(variances) + (np.array(means) - middle) ** 2)
    return middle, float(max(spread, 0.0))
