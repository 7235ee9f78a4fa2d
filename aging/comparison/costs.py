"""What a better aged reflectance costs: additive per square metre, per +0.01, to cross a threshold.

    by mass     kg/m2 = percent / 100 x coating mass per m2
    by volume   kg/m2 = percent / 100 x coating mass per m2 / coating density x additive density
    by "phr", "ppm" or others: refused, as the base is not told

summed over the additives, price in the user's own currency. Cost and gain are those beyond the
control of the same campaign; the gain is the difference of the period's mean, which is what a roof
lives through, not of its end. Cost per +0.01 is that extra cost over 100 gains, draw by draw; where
the gain's interval reaches 0 it has no upper end. Additive cost alone: mixing, labour and film
build are not in it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from aging.comparison.differences import pairs_of
from aging.comparison.joint import at, mean_over
from aging.decay.site import Array
from aging.errors import CallError, require
from aging.projection import Fit

COLUMNS = (
    "formulation", "against", "cost_per_m2", "extra_cost_per_m2", "gain", "gain_lower",
    "gain_upper", "cost_per_hundredth", "cost_lower", "cost_upper", "probability_crosses",
    "crosses", "level",
)  # fmt: skip
BY_MASS, BY_VOLUME = ("_wt_pct", "_mass_pct"), ("_vol_pct",)


def cost_per_m2(
    composition: pd.DataFrame,
    additives: pd.DataFrame,
    coating_kg_m2: float,
    coating_kg_m3: float | None = None,
) -> pd.Series:
    """Additive cost of each formulation (index), in the currency of the prices, per m2.

    additives: columns additive (a composition column), price_per_kg, density_kg_m3 (for additives
    by volume). CallError naming all that is missing.
    """
    require(coating_kg_m2 > 0, "coating_kg_m2", coating_kg_m2, "above 0, wet coating per m2")
    known = {str(one["additive"]): one for one in additives.to_dict("records")}
    faults, total = [], pd.Series(0.0, index=composition.index)
    for name in map(str, composition):
        if name not in known:
            faults.append(f"{name}: no price; add a row to the additives sheet")
            continue
        price, density = known[name]["price_per_kg"], known[name]["density_kg_m3"]
        if name.endswith(BY_MASS):
            mass = coating_kg_m2
        elif name.endswith(BY_VOLUME) and np.isfinite(density) and coating_kg_m3:
            mass = coating_kg_m2 / coating_kg_m3 * float(density)
        elif name.endswith(BY_VOLUME):
            faults.append(f"{name}: by volume, needs density_kg_m3 and the coating's density")
            continue
        else:
            faults.append(f"{name}: its unit has no base; allowed: {BY_MASS + BY_VOLUME}")
            continue
        total = total + composition[name].fillna(0.0) / 100 * mass * float(price)
    if faults:
        raise CallError("cost: " + "; ".join(faults))
    return total


def costs(
    fitted: Fit,
    cost: Mapping[str, float],
    *,
    period: tuple[float, float] = (0.0, 36.0),
    level: float = 0.90,
    threshold: float | None = None,
    months: float = 36.0,
) -> pd.DataFrame:
    """Cost and gain of every formulation against its control (COLUMNS), over the sites they share.

    threshold: an aged value that the mean over sites at `months` has to reach or (lower is better)
    stay under; `crosses` where it does with `level`.
    """
    require(0 < level < 1, "level", level, "between 0 and 1, such as 0.90")
    sign = -1.0 if fitted.measured.higher_is_better is False else 1.0
    mean, aged, tail = mean_over(fitted, *period), at(fitted, months), (1 - level) / 2
    rows = []
    for formulation, control in pairs_of(fitted, None):
        gaps = sign * np.mean(list(mean.gaps(formulation, control).values()), axis=0)
        low, middle, high = np.quantile(gaps, [tail, 0.5, 1 - tail])
        extra = cost[formulation] - cost[control]
        _, state = aged.over_sites([formulation])
        chance = np.nan if threshold is None else float((sign * (state[0] - threshold) >= 0).mean())
        rows.append((
            formulation, control, cost[formulation], extra, middle, low, high,
            *_per_hundredth(extra, gaps, tail), chance, chance >= level, level,
        ))  # fmt: skip
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _per_hundredth(extra: float, gaps: Array, tail: float) -> tuple[float, float, float]:
    """Extra cost over 100 gains: middle and ends; no number where the gain may be none."""
    low, middle, high = np.quantile(gaps, [tail, 0.5, 1 - tail])
    if middle <= 0:
        return (np.nan, np.nan, np.nan)
    ends = sorted((extra / (100 * high), extra / (100 * low) if low > 0 else np.inf))
    return (extra / (100 * middle), *ends)


def cheapest(table: pd.DataFrame) -> str | None:
    """The formulation that crosses the threshold at least cost; None where none does."""
    crossing = table[table["crosses"]]
    if crossing.empty:
        return None
    return str(crossing.sort_values("cost_per_m2")["formulation"].iloc[0])
