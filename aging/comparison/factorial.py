"""Do additives help each other? Main effects and interactions of numeric composition.

Additives are numeric columns of the formulations (silica_wt_pct, ...). With y_ab the mean over
sites of a figure at levels a and b of two additives, 0 the lowest, the synergy of a cell is

    additive        y_ab - y_a0 - y_0b + y_00
    multiplicative  log L_ab - log L_a0 - log L_0b + log L_00, of a loss L; shown as exp, so that
                    0.8 is a fifth less loss than the two alone would leave together

and of the pair the mean over all cells whose four corners are exposed. The two can disagree: 0.10
against 0.05 and 0.05 alone leaves nothing to add, while losses halved twice leave a quarter. The
main effect of a level is its mean difference to the lowest at equal levels of all other additives.
All is reckoned draw by draw on the joint draws, so that visits shared on a rack cancel.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from aging.comparison.joint import Joint, at, campaigns
from aging.decay.site import Array
from aging.errors import ModelError, require
from aging.projection import Fit
from aging.projection.states import initial

FIGURES = ("initial", "plateau loss", "log speed", "loss", "state")
LOSSES = ("plateau loss", "loss")  # positive, so that a share of them has a meaning
ADDITIVE, MULTIPLICATIVE = "additive", "multiplicative"
COLUMNS = (
    "figure", "months", "effect", "scale", "level_1", "level_2", "estimate", "lower", "upper",
    "level", "probability_above", "cells",
)  # fmt: skip
ABOVE_ZERO = 1e-4
Levels = tuple[float, ...]


@dataclass(frozen=True)
class Factorial:
    """Effects (COLUMNS); the composition behind them, a row a formulation; sites; plain notes."""

    frame: pd.DataFrame
    composition: pd.DataFrame
    sites: tuple[str, ...]
    notes: tuple[str, ...]


def factorial(
    fitted: Fit, composition: pd.DataFrame, months: float = 36.0, level: float = 0.90
) -> Factorial:
    """Effects of composition on each of FIGURES, as means over the sites that all share.

    composition: numeric columns, one row a formulation (index), as `intake.composition` gives them;
    a missing cell is 0. ModelError where no two formulations differ in one additive alone.
    """
    require(0 < level < 1, "level", level, "between 0 and 1, such as 0.90")
    table = design_of(fitted, composition)
    joints = figures(fitted, months)
    sites, _ = joints["state"].over_sites(table.index)
    rows = [
        {"figure": name, "months": months, "level": level} | row
        for name, joint in joints.items()
        for row in effects(joint.over_sites(table.index)[1], table, level, shares=name in LOSSES)
    ]
    if not rows:
        raise ModelError(
            "composition: no two formulations differ in one additive alone; expose each additive"
            " with and without, at equal levels of the others"
        )
    notes = ("formulations of equal composition: last kept",) if table.duplicated().any() else ()
    return Factorial(pd.DataFrame(rows)[list(COLUMNS)], table, sites, notes)


def cells(
    fitted: Fit, composition: pd.DataFrame, months: float = 36.0, level: float = 0.90,
    *, figure: str = "state",
) -> pd.DataFrame:  # fmt: skip
    """A figure of every composition, mean over the sites that all share.

    One row a formulation (index): its doses, estimate, lower, upper.
    """
    require(figure in FIGURES, "figure", figure, FIGURES)
    table, tail = design_of(fitted, composition), (1 - level) / 2
    _, y = figures(fitted, months)[figure].over_sites(table.index)
    middle, low, high = np.quantile(y, [0.5, tail, 1 - tail], axis=1)
    return table.assign(estimate=middle, lower=low, upper=high)


def design_of(fitted: Fit, composition: pd.DataFrame) -> pd.DataFrame:
    """Composition of the largest campaign's formulations, columns that vary among them."""
    groups: dict[int, set[str]] = {}
    for (_, formulation), number in campaigns(fitted).items():
        groups.setdefault(number, set()).add(formulation)
    together = max(groups.values(), key=lambda each: (len(each), sorted(each)))
    table = composition.reindex(sorted(together)).fillna(0.0)
    return table.loc[:, table.max() > table.min()]


def figures(fitted: Fit, months: float) -> dict[str, Joint]:
    """Joint draws of each of FIGURES."""
    where, shown = campaigns(fitted), fitted.as_read().shown
    drawn: dict[str, dict[tuple[str, str], Array]] = {name: {} for name in FIGURES}
    states = at(fitted, months)
    for one in fitted.series:
        key = one.site, one.formulation
        new = initial(one.posterior, shown(one.campaign.formulations))["state"][:, one.group]
        drawn["initial"][key] = new
        drawn["plateau loss"][key] = one.posterior.path[:, one.group, 1]
        drawn["log speed"][key] = one.posterior.path[:, one.group, 2]
        drawn["state"][key] = states.drawn[key]
        drawn["loss"][key] = new - states.drawn[key]
    return {name: Joint(values, where) for name, values in drawn.items()}


def effects(
    y: Array, table: pd.DataFrame, level: float, *, shares: bool = False
) -> Iterator[dict[str, object]]:
    """Main effects, then interactions of every pair of additives, of draws (F, D).

    table: composition of the F formulations. shares: tell interactions as a share too.
    """
    cells: dict[Levels, int] = {tuple(row): place for place, row in enumerate(table.to_numpy())}
    for name in table:
        for upper in sorted(table[name].unique())[1:]:
            gaps = [y[here] - y[base] for here, base in _against(table, cells, {str(name): upper})]
            if gaps:
                yield _row(np.mean(gaps, axis=0), level) | {
                    "effect": str(name), "scale": ADDITIVE, "level_1": upper, "cells": len(gaps),
                }  # fmt: skip
    for one, other in combinations(map(str, table.columns), 2):
        found = list(_corners(table, cells, one, other))
        for scale in (ADDITIVE, MULTIPLICATIVE) if shares else (ADDITIVE,):
            z = np.log(np.maximum(y, ABOVE_ZERO)) if scale == MULTIPLICATIVE else y
            each = [z[ab] - z[a] - z[b] + z[none] for (_, _), (ab, a, b, none) in found]
            shown = [(levels, [gap]) for (levels, _), gap in zip(found, each, strict=True)]
            if len(each) > 1:
                shown.append(((np.nan, np.nan), each))
            for (first, second), gaps in shown:
                yield _row(np.mean(gaps, axis=0), level, ratio=scale == MULTIPLICATIVE) | {
                    "effect": f"{one} x {other}", "scale": scale, "level_1": first,
                    "level_2": second, "cells": len(gaps),
                }  # fmt: skip


def _against(
    table: pd.DataFrame, cells: Mapping[Levels, int], raised: Mapping[str, float]
) -> Iterator[tuple[int, int]]:
    """Cells at the raised levels, each with the one where these additives are lowest."""
    lowest = table.min()
    for row in table.to_numpy():
        here = dict(zip(table.columns, row, strict=True))
        if all(here[name] == value for name, value in raised.items()):
            base = tuple(lowest[n] if n in raised else here[n] for n in table.columns)
            if base in cells:
                yield cells[tuple(row)], cells[base]


def _corners(
    table: pd.DataFrame, cells: Mapping[Levels, int], one: str, other: str
) -> Iterator[tuple[tuple[float, float], tuple[int, int, int, int]]]:
    """Levels and the four corners of every cell in which both additives are raised."""
    lowest = table.min()
    for row in table.to_numpy():
        here = pd.Series(row, index=table.columns)
        if here[one] == lowest[one] or here[other] == lowest[other]:
            continue
        a, b, none = here.copy(), here.copy(), here.copy()
        a[other] = none[other] = lowest[other]
        b[one] = none[one] = lowest[one]
        corners = [tuple(each) for each in (here, a, b, none)]
        if all(corner in cells for corner in corners):
            ab, a_, b_, none_ = (cells[corner] for corner in corners)
            yield (here[one], here[other]), (ab, a_, b_, none_)


def _row(gap: Array, level: float, *, ratio: bool = False) -> dict[str, object]:
    tail = (1 - level) / 2
    low, middle, high = np.quantile(np.exp(gap) if ratio else gap, [tail, 0.5, 1 - tail])
    return {
        "estimate": float(middle), "lower": float(low), "upper": float(high), "level_1": np.nan,
        "level_2": np.nan, "probability_above": float((gap > 0).mean()),
    }  # fmt: skip
