"""What a rack says of a roof: the offset between the two, and a rack projection carried over.

Roofs are sites whose panels are roof patches. For each formulation on both, the offset is the state
on a roof minus the mean state over the racks, draw by draw. Over roofs and formulations

    offset_i = mu + u_i + e_i     u_i ~ N(0, tau^2)     e_i the draws' own error

with a flat prior on mu and tau on a grid (half-normal prior, `TAU` of the mean loss), so that the
next roof's offset is mu + u: its interval is wider than that of the mean, and is what a projection
from racks has to bear when somebody asks for a roof.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from aging.comparison.joint import at
from aging.decay.site import Array
from aging.errors import ModelError, require
from aging.projection import Fit

TAU, POINTS, SEED, FEWEST = 0.5, 60, 20_261_125, 2
OFFSET_COLUMNS = (
    "roof", "formulation", "property", "months", "racks", "estimate", "lower", "upper", "level",
)  # fmt: skip
ROOF_COLUMNS = ("formulation", "property", "months", "estimate", "lower", "upper", "level")


@dataclass(frozen=True)
class Roofs:
    """Offset of each pair (OFFSET_COLUMNS), their mean and a next roof's (estimate, lower, upper).

    projected: what racks say of a next roof (ROOF_COLUMNS). worth: width of the rack interval over
    that of the roof's; 1 would be as good as a roof.
    """

    offsets: pd.DataFrame
    mean: tuple[float, float, float]
    next_roof: tuple[float, float, float]
    projected: pd.DataFrame
    worth: float
    notes: tuple[str, ...]


def roofs(fitted: Fit, months: float = 36.0, level: float = 0.90) -> Roofs:
    """Compare roofs with racks; ModelError where no formulation is on both."""
    require(0 < level < 1, "level", level, "between 0 and 1, such as 0.90")
    kinds = fitted.exposure.panels.groupby("site")["kind"].agg(set)
    roofs_ = {site for site, kind in kinds.items() if kind - {"file_specimen"} == {"roof_patch"}}
    joint, tail, name = at(fitted, months), (1 - level) / 2, fitted.measured.name
    racks: dict[str, list[Array]] = {}
    for site, mix in joint.drawn:
        if site not in roofs_:
            racks.setdefault(mix, []).append(joint.of(site, mix))
    rows, gaps = [], []
    for site, mix in sorted(joint.drawn):
        if site in roofs_ and mix in racks:
            gap = joint.of(site, mix) - np.mean(racks[mix], axis=0)
            low, middle, high = np.quantile(gap, [tail, 0.5, 1 - tail])
            rows.append((site, mix, name, months, len(racks[mix]), middle, low, high, level))
            gaps.append(gap)
    if not gaps:
        raise ModelError(
            "no formulation is both on racks and on roofs: expose one on both, each roof as a site"
            " of its own whose panels are of kind roof_patch"
        )
    mean, fresh = _over(np.stack(gaps), scale=fitted.gathered.prior_table())
    ends = [0.5, tail, 1 - tail]
    shown, ratio = [], []
    for mix, each in sorted(racks.items()):
        rack = np.mean(each, axis=0)
        middle, low, high = np.quantile(rack + fresh, ends)
        shown.append((mix, name, months, middle, low, high, level))
        ratio.append(np.ptp(np.quantile(rack, [tail, 1 - tail])) / (high - low))
    notes = () if len(gaps) > FEWEST else ("one or two offsets: how roofs differ is the prior's",)
    return Roofs(
        pd.DataFrame(rows, columns=list(OFFSET_COLUMNS)), _triple(mean, ends),
        _triple(fresh, ends), pd.DataFrame(shown, columns=list(ROOF_COLUMNS)),
        float(np.mean(ratio)), notes,
    )  # fmt: skip


def _triple(draws: Array, ends: list[float]) -> tuple[float, float, float]:
    middle, low, high = np.quantile(draws, ends)
    return float(middle), float(low), float(high)


def _over(gaps: Array, scale: pd.DataFrame) -> tuple[Array, Array]:
    """Draws (D,) of the mean offset and of a next roof's."""
    size = TAU * float(scale.loc[scale["quantity"] == "loss", "value"].mean())
    middle, cov = gaps.mean(axis=1), np.cov(gaps).reshape(len(gaps), len(gaps))
    taus, score, found = np.linspace(0, 3 * size, POINTS), [], []
    one = np.ones(len(gaps))
    for tau in taus:
        whole = cov + tau**2 * np.eye(len(gaps))
        inverse = np.linalg.inv(whole)
        precision = one @ inverse @ one
        mu = one @ inverse @ middle / precision
        off = middle - mu
        logs = np.linalg.slogdet(whole)[1] + np.log(precision)
        score.append(-(off @ inverse @ off + logs) / 2 - (tau / size) ** 2 / 2)
        found.append((mu, precision**-0.5))
    weight = np.exp(np.array(score) - max(score))
    random, draws = np.random.default_rng(SEED), gaps.shape[1]
    node = random.choice(POINTS, draws, p=weight / weight.sum())
    mus, errors = np.array(found).T
    mean = mus[node] + errors[node] * random.standard_normal(draws)
    return mean, mean + taus[node] * random.standard_normal(draws)
