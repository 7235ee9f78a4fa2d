"""Does the laboratory rank formulations as the weather does? A rank correlation, and warnings.

Laboratory soiling and slurry results (readings with that evidence) stand beside the projected
state outdoors, never in its series. Spearman's rank correlation is taken draw by draw, outdoor
draws against laboratory means with their replicates' error, so that its interval carries both. A
pair misleads where the laboratory puts one first and the weather the other, each with 90 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from aging.comparison.joint import at
from aging.decay.site import Array
from aging.errors import ModelError
from aging.projection import Fit
from aging.vocabulary import EVIDENCE, property_named

SURE, SEED, FEWEST = 0.9, 20_261_125, 4
COLUMNS = (
    "formulation", "evidence", "property", "laboratory", "laboratory_error", "replicates",
    "outdoor", "lower", "upper",
)  # fmt: skip


@dataclass(frozen=True)
class Laboratory:
    """Points (COLUMNS), rank correlation by kind of evidence and property, and misleading pairs.

    correlation: evidence, property, formulations, estimate, lower, upper, probability_positive.
    misleads: evidence, property, first, second (as the laboratory ranks them), probability that
    the weather ranks them the other way.
    """

    points: pd.DataFrame
    correlation: pd.DataFrame
    misleads: pd.DataFrame
    notes: tuple[str, ...]


def laboratory(fitted: Fit, months: float = 36.0, level: float = 0.90) -> Laboratory:
    """Compare laboratory results with the projection; ModelError without four in common."""
    joint = at(fitted, months)
    sites: dict[str, list[Array]] = {}
    for site, mix in joint.drawn:
        sites.setdefault(mix, []).append(joint.of(site, mix))
    outdoor = {mix: np.mean(each, axis=0) for mix, each in sites.items()}
    points, ranked, misled, tail = [], [], [], (1 - level) / 2
    notes: list[str] = []
    random = np.random.default_rng(SEED)
    up = -1.0 if fitted.measured.higher_is_better is False else 1.0
    for (kind, name), group in _results(fitted):
        known = group[group.index.isin(list(outdoor))]
        error = _errors(known)
        for mix, row in zip(map(str, known.index), known.to_dict("records"), strict=True):
            low, middle, high = np.quantile(outdoor[mix], [tail, 0.5, 1 - tail])
            points.append(
                (mix, kind, name, row["mean"], error[mix], row["count"], middle, low, high)
            )
        if len(known) < FEWEST:
            continue
        if (known["count"] == 1).all():
            notes.append(f"{kind}, {name}: one replicate each, taken as exact")
        draws = np.stack([up * outdoor[str(mix)] for mix in known.index])
        sign = -1.0 if property_named(name).higher_is_better is False else 1.0
        scatter = error.to_numpy()[:, None] * random.standard_normal(draws.shape)
        lab = sign * (known["mean"].to_numpy()[:, None] + scatter)
        rho = _spearman(draws, lab)
        low, middle, high = np.quantile(rho, [tail, 0.5, 1 - tail])
        ranked.append((kind, name, len(known), middle, low, high, float((rho > 0).mean())))
        misled += [(kind, name, *pair) for pair in _pairs(list(map(str, known.index)), lab, draws)]
    if not ranked:
        raise ModelError(
            f"fewer than {FEWEST} formulations have both laboratory results (readings with"
            " evidence laboratory_soiling or slurry) and a projection"
        )
    return Laboratory(
        pd.DataFrame(points, columns=list(COLUMNS)),
        pd.DataFrame(ranked, columns=[
            "evidence", "property", "formulations", "estimate", "lower", "upper",
            "probability_positive",
        ]),
        pd.DataFrame(misled, columns=["evidence", "property", "first", "second", "probability"]),
        tuple(notes),
    )  # fmt: skip


def _results(fitted: Fit) -> list[tuple[tuple[str, str], pd.DataFrame]]:
    """Mean, standard deviation and count over panels of every laboratory result."""
    readings = fitted.exposure.readings
    found = readings[readings["evidence"].isin(EVIDENCE[1:])]
    mix = found["panel"].map(fitted.exposure.panels.set_index("panel")["formulation"])
    panel = found.assign(formulation=mix).groupby(
        ["evidence", "property", "formulation", "panel"]
    )["value"].mean()  # fmt: skip
    table = panel.groupby(level=[0, 1, 2]).agg(["mean", "std", "count"])
    return [
        ((str(kind), str(name)), each.droplevel([0, 1]))
        for (kind, name), each in table.groupby(level=[0, 1])
    ]


def _errors(table: pd.DataFrame) -> pd.Series:
    """Standard error of each mean, with the scatter pooled over formulations."""
    freedom = table["count"] - 1
    pooled = np.sqrt((freedom * table["std"].fillna(0) ** 2).sum() / max(freedom.sum(), 1))
    return pooled / np.sqrt(table["count"])


def _spearman(one: Array, other: Array) -> Array:
    """Rank correlation of each column of two (F, D)."""
    ranks = [np.argsort(np.argsort(each, axis=0), axis=0) for each in (one, other)]
    gap = ((ranks[0] - ranks[1]) ** 2).sum(axis=0)
    return 1 - 6 * gap / (len(one) * (len(one) ** 2 - 1))


def _pairs(names: list[str], lab: Array, outdoor: Array) -> list[tuple[str, str, float]]:
    found = []
    for i, j in combinations(range(len(names)), 2):
        ahead = float((lab[i] > lab[j]).mean())
        first, second = (i, j) if ahead >= 0.5 else (j, i)  # noqa: PLR2004 - even odds
        against = float((outdoor[second] > outdoor[first]).mean())
        if max(ahead, 1 - ahead) > SURE and against > SURE:
            found.append((names[first], names[second], against))
    return found
