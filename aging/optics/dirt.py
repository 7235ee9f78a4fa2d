"""How much of a reading dirt has taken, and what washing gives back, from replicate panels.

With means over panels of the reading when new (0), as exposed (u) and after each cleaning stage:

    retention     u / 0      (gloss, reflectance; of a slurry test: dirt retention, soiled / clean)
    cleanliness   u / w      restoration    w / 0
    removable     (w - u) / (0 - u)         permanent    (0 - w) / (0 - u)

Each is a ratio of two means, never a mean of ratios, and its interval is Fieller's: the ratios R
at which |mean(y) - R mean(x)| <= t sd(y - R x) / sqrt(n). Paired values (same panels) bring their
covariance and n - 1 degrees of freedom and are exact for normal replicates; unpaired ones have
Satterthwaite's degrees of freedom, taken at the estimate. Where the denominator cannot be told
from 0 the interval is unbounded, and a note says so.

Outdoor exposure, laboratory soiling and slurry tests are kinds of evidence of their own: values of
two kinds never meet in one result.

Sources: Fieller, J. R. Stat. Soc. B 16 (1954) 175-185; Satterthwaite, Biometrics Bull. 2 (1946)
110-114 (both from memory); unwashed over washed after the idea of ASTM D3719; the shares are common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aging.errors import CallError, require
from aging.vocabulary import EVIDENCE, SURFACE_STATES

Array = NDArray[np.float64]

FEWEST = 2


@dataclass(frozen=True)
class Replicates:
    """One value a panel (n,), and the kind of evidence they are."""

    values: Array
    evidence: str = "outdoor"

    @classmethod
    def of(cls, values: ArrayLike, evidence: str = "outdoor") -> Replicates:
        """From n >= 2 finite values; CallError otherwise, or where the kind is unknown."""
        require(evidence in EVIDENCE, "evidence", evidence, EVIDENCE)
        found = np.asarray(values, float)
        good = found.ndim == 1 and found.size >= FEWEST and bool(np.isfinite(found).all())
        require(good, "replicates", found.tolist(), "2 or more finite values, one a panel")
        return cls(found, evidence)


@dataclass(frozen=True)
class Ratio:
    """Ratio of two means with Fieller's interval; `df` degrees of freedom, `evidence` its kind."""

    estimate: float
    lower: float
    upper: float
    level: float
    df: float
    panels: int
    paired: bool
    evidence: str
    note: str = ""


def one_kind(kinds: Iterable[str]) -> str:
    """The one kind of evidence among `kinds`; CallError where there are several, or one unknown."""
    seen = sorted(set(kinds))
    for kind in seen:
        require(kind in EVIDENCE, "evidence", kind, EVIDENCE)
    if len(seen) != 1:
        raise CallError(
            f"kinds of evidence: {', '.join(seen) or 'none'}; one result takes one kind. "
            "Report laboratory soiling and slurry tests beside an outdoor series, not in it"
        )
    return seen[0]


def ratio_of_means(
    numerator: Replicates, denominator: Replicates, *, paired: bool, level: float = 0.9
) -> Ratio:
    """Mean of `numerator` over mean of `denominator`, with Fieller's interval.

    Paired: value i of both is of the same panel. Raises CallError for kinds of evidence that
    differ, pairs that do not match, a level outside 0 to 1 or a denominator whose mean is 0.
    """
    evidence = one_kind((numerator.evidence, denominator.evidence))
    require(0 < level < 1, "level", level, "between 0 and 1")
    y, x = numerator.values, denominator.values
    require(not paired or y.size == x.size, "paired values", (y.size, x.size), "as many of both")
    top, bottom = float(y.mean()), float(x.mean())
    require(bottom != 0, "mean of the denominator", bottom, "other than 0")
    var_y, var_x = float(y.var(ddof=1)) / y.size, float(x.var(ddof=1)) / x.size
    shared = float(np.cov(y, x)[0, 1]) / y.size if paired else 0.0
    estimate = top / bottom
    df = float(y.size - 1) if paired else _satterthwaite(var_y, estimate**2 * var_x, y.size, x.size)
    lower, upper = _fieller(
        top, bottom, _quantile(df, level), var_y=var_y, var_x=var_x, shared=shared
    )
    note = "" if np.isfinite(lower) else "the denominator cannot be told from 0: no bounds"
    panels = y.size if paired else y.size + x.size
    return Ratio(estimate, lower, upper, level, df, panels, paired, evidence, note)


def _satterthwaite(one: float, other: float, n_one: int, n_other: int) -> float:
    spread = one**2 / (n_one - 1) + other**2 / (n_other - 1)
    return (one + other) ** 2 / spread if spread > 0 else float(n_one + n_other - 2)


def _quantile(df: float, level: float) -> float:
    from scipy.stats import t

    return float(t.ppf((1 + level) / 2, df))


def _fieller(
    top: float, bottom: float, t: float, *, var_y: float, var_x: float, shared: float
) -> tuple[float, float]:
    """Roots R of (top - R bottom)^2 = t^2 (var_y - 2 R shared + R^2 var_x)."""
    a, b, c = bottom**2 - t**2 * var_x, top * bottom - t**2 * shared, top**2 - t**2 * var_y
    if a <= 0:
        return -np.inf, np.inf
    half = np.sqrt(max(b**2 - a * c, 0.0))
    return float((b - half) / a), float((b + half) / a)


def retention(
    aged: Replicates, initial: Replicates, *, paired: bool = True, level: float = 0.9
) -> Ratio:
    """Aged over initial: of gloss, of reflectance, or soiled over clean of a slurry test."""
    return ratio_of_means(aged, initial, paired=paired, level=level)


def cleanliness(
    unwashed: Replicates, washed: Replicates, *, paired: bool = True, level: float = 0.9
) -> Ratio:
    """Unwashed over washed: 1 is clean."""
    return ratio_of_means(unwashed, washed, paired=paired, level=level)


def wash_restoration(
    washed: Replicates, initial: Replicates, *, paired: bool = True, level: float = 0.9
) -> Ratio:
    """Washed over initial: 1 is as new."""
    return ratio_of_means(washed, initial, paired=paired, level=level)


def loss_shares(
    initial: Replicates, states: Mapping[str, Replicates], level: float = 0.9
) -> dict[str, Ratio]:
    """Share of the loss that each cleaning stage gave back, "removable" in all, and "permanent".

    `states` has "as_exposed" and one or more of "rinsed", "washed", "bleached", read in that order
    on the same panels as `initial`. Shares may fall outside 0 to 1: that is scatter, or a panel
    cleaner than new. Raises CallError where a stage is missing or unknown.
    """
    unknown = sorted(set(states) - set(SURFACE_STATES))
    require(not unknown, "surface state", unknown, SURFACE_STATES)
    stages = [state for state in SURFACE_STATES if state in states]
    enough = len(stages) >= FEWEST and stages[0] == "as_exposed"
    require(enough, "surface states", stages, "as_exposed and at least one cleaned state")
    new, exposed, last = initial, states["as_exposed"], states[stages[-1]]
    steps = {after: (states[after], states[before]) for before, after in pairwise(stages)}
    steps |= {"removable": (last, exposed), "permanent": (new, last)}
    loss = _difference(new, exposed)
    return {
        name: ratio_of_means(_difference(*pair), loss, paired=True, level=level)
        for name, pair in steps.items()
    }


def _difference(more: Replicates, less: Replicates) -> Replicates:
    kind = one_kind((more.evidence, less.evidence))
    sizes = (more.values.size, less.values.size)
    require(sizes[0] == sizes[1], "panels in two states", sizes, "the same panels in each")
    return Replicates(more.values - less.values, kind)
