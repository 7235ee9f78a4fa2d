"""How much of an additive: the gain along its dose, where it levels off, and doses in between.

Along one additive, the others at a fixed level, the figure y of dose x is b0 + b1 h(x), with h

    hinge       min(x / k, 1)        straight up, then level
    saturating  x / (x + k)          ever less for each further per cent

k on a grid over the studied doses, both forms as likely beforehand, b0 and b1 free. The joint draws
at the exposed doses enter by their mean and covariance, so that visits shared on a rack cancel. The
gain levels off at the dose that brings 95 % of the gain between the lowest and the highest dose.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from aging.comparison.factorial import design_of, figures
from aging.decay.site import Array
from aging.errors import ModelError, require
from aging.projection import Fit
from aging.vocabulary import additive_words

GRID, FORMS, FEWEST, ENOUGH, MISFIT = 60, ("hinge", "saturating"), 3, 0.95, 0.05
SEED = 20_261_125
CURVE_COLUMNS = ("dose", "estimate", "lower", "upper", "exposed")


@dataclass(frozen=True)
class DoseResponse:
    """The curve (CURVE_COLUMNS), the dose at which it levels off with its interval, chances, notes.

    forms: weight of each of FORMS; rising: probability that more of it is better at all.
    """

    additive: str
    curve: pd.DataFrame
    levels_off: tuple[float, float, float]  # estimate, lower, upper
    forms: dict[str, float]
    rising: float
    notes: tuple[str, ...]


def dose_response(
    fitted: Fit,
    composition: pd.DataFrame,
    additive: str,
    months: float = 36.0,
    level: float = 0.90,
    *,
    others: Mapping[str, float] | None = None,
    figure: str = "state",
) -> DoseResponse:
    """The figure along the doses of one additive; `others` fixes the rest, else at their lowest."""
    table = design_of(fitted, composition)
    require(additive in table, "additive", additive, list(table))
    fixed = {n: table[n].min() for n in table if n != additive} | dict(others or {})
    mine = table[(table[list(fixed)] == pd.Series(fixed)).all(axis=1)] if fixed else table
    x = np.unique(mine[additive].to_numpy())
    if x.size < FEWEST:
        name, unit = additive_words(additive)
        seen = " and ".join(f"{dose:g}" for dose in x) or "no dose"
        raise ModelError(
            f"{name}: exposed at {seen} {unit} alone, beside equal doses of the other additives;"
            f" a curve needs {FEWEST} doses, so hang one between them"
        )
    rows = [mine.index[mine[additive] == dose][-1] for dose in x]
    _, y = figures(fitted, months)[figure].over_sites(rows)
    lower = (fitted.measured.higher_is_better is False) != ("loss" in figure)
    sign = -1.0 if lower or figure == "log speed" else 1.0
    k, weight, each = _weigh(x, y.mean(axis=1), np.cov(y))
    doses = np.union1d(np.linspace(x[0], x[-1], 61), x)
    drawn, gain = _curves(x[0], doses, k, weight=weight, lines=each, draws=y.shape[1])
    tail = (1 - level) / 2
    low, middle, high = np.quantile(drawn, [tail, 0.5, 1 - tail], axis=0)
    curve = pd.DataFrame(
        dict(zip(CURVE_COLUMNS, (doses, middle, low, high, np.isin(doses, x)), strict=True))
    )
    share = (drawn - drawn[:, :1]) / np.where(gain == 0, 1, gain)[:, None]
    reached = doses[np.argmax(share >= ENOUGH, axis=1)]
    off_low, off, off_high = np.quantile(reached, [tail, 0.5, 1 - tail])
    half = weight.size // 2
    forms = dict(zip(FORMS, (float(weight[:half].sum()), float(weight[half:].sum())), strict=True))
    rising = float((sign * gain > 0).mean())
    notes = _told(additive, x, off_high, rising, each[int(np.argmax(weight))][2])
    return DoseResponse(additive, curve, (off, off_low, off_high), forms, rising, notes)


def _told(additive: str, x: Array, off: float, rising: float, misfit: float) -> tuple[str, ...]:
    from scipy.stats import chi2

    notes, (name, unit) = [], additive_words(additive)
    if off > x[0] + ENOUGH * (x[-1] - x[0]):
        notes.append(f"{name}: may go on beyond {x[-1]:g} {unit}, the highest dose exposed")
    if 1 - ENOUGH < rising < ENOUGH:
        notes.append(f"{name}: it cannot be told yet whether more of it does anything")
    if x.size > FEWEST and chi2.sf(misfit, x.size - FEWEST) < MISFIT:
        notes.append(f"{name}: neither form fits; the gain does not rise to a plateau")
    return tuple(notes)


Line = tuple[Array, Array, float]  # coefficients, their covariance, misfit


def _shape(form: str, dose: Array, k: float, start: float) -> Array:
    return np.minimum((dose - start) / k, 1.0) if form == "hinge" else (dose - start) / (
        dose - start + k
    )  # fmt: skip


def _weigh(x: Array, mean: Array, cov: Array) -> tuple[Array, Array, list[Line]]:
    """Grid of k (hinge, then saturating), weights, and the generalised least squares of each."""
    span, inverse = x[-1] - x[0], np.linalg.inv(cov)
    k = np.concatenate([np.linspace(1 / GRID, 1, GRID), np.geomspace(0.02, 5, GRID)]) * span
    lines, score = [], []
    for place, one in enumerate(k):
        rows = np.column_stack([np.ones_like(x), _shape(FORMS[place // GRID], x, one, x[0])])
        precision = rows.T @ inverse @ rows
        found = np.linalg.solve(precision, rows.T @ inverse @ mean)
        off = mean - rows @ found
        misfit = float(off @ inverse @ off)
        lines.append((found, np.linalg.inv(precision), misfit))
        score.append(-misfit / 2)
    weight = np.exp(np.array(score) - max(score))
    return k, weight / weight.sum(), lines


def _curves(
    start: float, doses: Array, k: Array, *, weight: Array, lines: Sequence[Line], draws: int
) -> tuple[Array, Array]:
    """Drawn curves (D, doses) and their gain from the lowest to the highest dose, (D,)."""
    random = np.random.default_rng(SEED)
    node = np.searchsorted(np.cumsum(weight), (np.arange(draws) + 0.5) / draws).clip(0, k.size - 1)
    drawn = np.empty((draws, doses.size))
    for place in np.unique(node):
        mine = np.flatnonzero(node == place)
        found, cov, _ = lines[place]
        b = random.multivariate_normal(found, cov, mine.size, method="cholesky")
        h = _shape(FORMS[place // GRID], doses, k[place], start)
        drawn[mine] = b[:, :1] + b[:, 1:] * h
    return drawn, drawn[:, -1] - drawn[:, 0]
