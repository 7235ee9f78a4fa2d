"""Chalking, growth, checking, cracking, blistering: ratings on a scale that has order but no unit.

A rating stays as it was read, on its own scale, with the letter of its method; ratings of two
methods never meet. No mean is taken of ratings, only medians (of an even number the worse of the
two in the middle), ranks and odds. For one site, and each formulation by itself,

    logit P(rating worse than k) = b t - theta_k      t in years; odds ratio per year exp(b)

by maximum likelihood (proportional odds), so that 1 is no trend and more than 1 is getting worse.
Readings of one panel go together: the standard error is the larger of the likelihood's and the one
clustered by panel. On simulated series of 3 panels and 7 visits, whose panels differ in level and
pace, intervals of 90 % held the truth in 0.89 to 0.94 of cases; the likelihood's error alone in
0.84 to 0.90, Student's t of panels - 1 on the larger error in 0.98 or more at twice the width.
Where the ratings carry no such trend the result gives the reason, and Kendall's tau-b alone tells
the direction.

Two formulations differ by the ranks of their panels: each visit ranks the panels of both, a panel
scores its mean rank, and the scores are permuted between formulations (Mann-Whitney), with Holm's
correction over the formulations. With 3 panels against 3 no p-value can be below 0.10.

Sources: McCullagh, J. R. Stat. Soc. B 42 (1980) 109-142; Kendall, Biometrika 33 (1945) 239-251;
Holm, Scand. J. Stat. 6 (1979) 65-70 (all from memory); statsmodels and scipy compute. The larger of
two errors is our own caution, measured in the tests. Letters of ASTM D4214 (fabric A and B, finger
C, tape D) and ISO 4628-6 (tape), -7 (velvet): from memory.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import comb

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aging.errors import CallError, require
from aging.vocabulary import METHODS, PROPERTIES, Property, property_named

Array = NDArray[np.float64]

COLUMNS = ("formulation", "panel", "months", "value", "method")
PERMUTATIONS, SEED = 9999, 20_261_125
FEWEST_PANELS, FEWEST_VISITS, LARGEST_LOG_ODDS = 2, 3, 20.0


@dataclass(frozen=True)
class Ratings:
    """Ratings of one site, property and method: formulation, panel, months, value, worse.

    `worse` is the value turned so that more is worse, for ranking only.
    """

    prop: Property
    method: str
    frame: pd.DataFrame

    @classmethod
    def of(cls, readings: pd.DataFrame, name: str) -> Ratings:
        """From readings with COLUMNS; `method` is "" without letters or where none is told.

        Raises CallError listing all that is wrong: the property, missing columns or cells, values
        off the scale, letters that are unknown or several.
        """
        ordinal = [known for known, prop in PROPERTIES.items() if prop.scale == "ordinal"]
        require(name in ordinal, "rated property", name, ordinal)
        prop = property_named(name)
        missing = [column for column in COLUMNS if column not in readings]
        require(not missing, "missing columns", missing, COLUMNS)
        faults = _faults(readings, prop)
        if faults:
            raise CallError(f"ratings of {name}: " + "; ".join(faults))
        kept = readings[list(COLUMNS[:4])].reset_index(drop=True)
        worse = -kept["value"] if prop.higher_is_better else kept["value"]
        return cls(prop, str(readings["method"].iloc[0]), kept.assign(worse=worse.astype(float)))


@dataclass(frozen=True)
class Trend:
    """Odds ratio per year of a worse rating (more than 1: worse), or the reason why there is none.

    `tau` is Kendall's tau-b of worse rating against months, NaN where all ratings are the same.
    """

    formulation: str
    odds_ratio: float
    lower: float
    upper: float
    level: float
    tau: float
    panels: int
    readings: int
    reason: str = ""


@dataclass(frozen=True)
class RankDifference:
    """`superiority`: share of pairs of panels in which the formulation's rates better, ties half.

    `p_least` is the smallest p-value that so few panels can give.
    """

    formulation: str
    control: str
    superiority: float
    p_value: float
    p_holm: float
    p_least: float
    panels: tuple[int, int]


def _faults(readings: pd.DataFrame, prop: Property) -> list[str]:
    faults = []
    if readings.empty:
        return ["no readings"]
    empty = [column for column in COLUMNS if readings[column].isna().any()]
    if empty:
        return [f"empty cells in {', '.join(empty)}; leave out rows that were not read"]
    value = readings["value"].to_numpy(float)
    off = (value < prop.low) | (value > prop.high) | (np.abs(value / prop.step % 1) > 0)
    if off.any():
        seen = ", ".join(f"{v:g}" for v in np.unique(value[off]))
        faults.append(f"{seen} not on the scale {prop.low:g} to {prop.high:g} by {prop.step:g}")
    letters = sorted(set(readings["method"].astype(str)))
    known = METHODS.get(prop.name, ())
    unknown = [letter for letter in letters if letter and letter not in known]
    if unknown:
        faults.append(f"method {unknown} unknown; allowed: {list(known)}")
    if len(letters) > 1:
        faults.append(f"methods {letters} cannot be read as one series; take one at a time")
    twice = readings[readings.duplicated(["panel", "months"])]
    if len(twice):
        faults.append(f"panels rated twice in one visit: {sorted(set(twice['panel']))}")
    return faults


def medians(ratings: Ratings) -> pd.DataFrame:
    """Frame by formulation and visit: median, best and worst rating as read, number of panels."""
    sign = -1.0 if ratings.prop.higher_is_better else 1.0
    groups = ratings.frame.groupby(["formulation", "months"])["worse"]
    middle = sign * groups.quantile(0.5, interpolation="higher")
    best, worst, panels = sign * groups.min(), sign * groups.max(), groups.size()
    return pd.DataFrame(
        {"median": middle, "best": best, "worst": worst, "panels": panels}
    ).reset_index()


def trend(ratings: Ratings, formulation: str, level: float = 0.9) -> Trend:
    """Proportional-odds trend of one formulation over its months of exposure."""
    from scipy.stats import kendalltau, norm

    require(0 < level < 1, "level", level, "between 0 and 1")
    rows = ratings.frame[ratings.frame["formulation"] == formulation]
    known = sorted(set(ratings.frame["formulation"]))
    require(len(rows) > 0, "formulation", formulation, known)
    months, worse = rows["months"].to_numpy(float), rows["worse"].to_numpy(float)
    panel = pd.factorize(rows["panel"])[0]
    panels = int(panel.max()) + 1
    moved = np.ptp(worse) > 0 and np.ptp(months) > 0
    tau = float(kendalltau(months, worse).statistic) if moved else np.nan
    reason = _why_none(months, worse, panels)
    b, error = (np.nan, np.nan) if reason else _proportional_odds(months / 12, worse, panel)
    if not reason and not (np.isfinite(error) and abs(b) < LARGEST_LOG_ODDS):
        reason, b, error = "the likelihood has no clear maximum", np.nan, np.nan
    reach = error * float(norm.ppf((1 + level) / 2))
    with np.errstate(over="ignore"):
        ratio, lower, upper = (float(x) for x in np.exp([b, b - reach, b + reach]))
    return Trend(formulation, ratio, lower, upper, level, tau, panels, len(rows), reason)


def _why_none(months: Array, worse: Array, panels: int) -> str:
    if panels < FEWEST_PANELS:
        return "one panel only: no telling how panels differ"
    if len(np.unique(months)) < FEWEST_VISITS:
        return f"fewer than {FEWEST_VISITS} visits"
    levels = np.unique(worse)
    if len(levels) == 1:
        return "all ratings are the same"
    groups = [months[worse == level] for level in levels]
    if all(a.max() <= b.min() for a, b in pairwise(groups)):
        return "no later rating is better than an earlier one: the odds ratio has no upper limit"
    if all(a.min() >= b.max() for a, b in pairwise(groups)):
        return "no later rating is worse than an earlier one: the odds ratio has no lower limit"
    return ""


def _proportional_odds(years: Array, worse: Array, panel: NDArray[np.intp]) -> tuple[float, float]:
    """Log odds ratio per year and its standard error, NaN where the fit did not converge."""
    from statsmodels.miscmodels.ordinal_model import OrderedModel

    model = OrderedModel(np.unique(worse, return_inverse=True)[1], years[:, None], distr="logit")
    try:
        with warnings.catch_warnings():  # what they say is read from the result below
            warnings.simplefilter("ignore")
            plain = model.fit(method="bfgs", maxiter=500, disp=False)
            robust = model.fit(
                plain.params, method="bfgs", maxiter=500, disp=False,
                cov_type="cluster", cov_kwds={"groups": panel},
            )  # fmt: skip
    except np.linalg.LinAlgError:
        return np.nan, np.nan
    if not plain.mle_retvals["converged"]:
        return np.nan, np.nan
    return float(plain.params[0]), float(np.max([plain.bse[0], robust.bse[0]]))


def differences(ratings: Ratings, control: str) -> tuple[RankDifference, ...]:
    """Rank test of every other formulation against the control, on the visits both have."""
    frame = ratings.frame
    names = sorted(set(frame["formulation"]))
    require(control in names, "control", control, names)
    others = [name for name in names if name != control]
    tests = [_rank_test(frame, name, control) for name in others]
    if not tests:
        return ()
    adjusted = holm([p for _, p, _ in tests])
    return tuple(
        RankDifference(name, control, better, p, its, 2 / comb(sum(n), n[0]), n)
        for name, (better, p, n), its in zip(others, tests, adjusted, strict=True)
    )


def holm(p_values: Sequence[float]) -> list[float]:
    """P-values adjusted for their number, stepping down from the least: Holm 1979.

    statsmodels gives the same but collects the garbage of the whole program at each call.
    """
    p = np.asarray(p_values, dtype=float)
    order = np.argsort(p)
    steps = np.maximum.accumulate(np.arange(p.size, 0, -1) * p[order])
    return np.minimum(steps, 1)[np.argsort(order)].tolist()


def _rank_test(
    frame: pd.DataFrame, name: str, control: str
) -> tuple[float, float, tuple[int, int]]:
    from scipy.stats import PermutationMethod, mannwhitneyu

    pair = frame[frame["formulation"].isin([name, control])]
    both = pair.groupby("months")["formulation"].transform("nunique") == 2  # noqa: PLR2004
    if not both.any():
        raise CallError(f"{name} and {control} have no visit in common; rate both on one day")
    pair = pair[both].assign(score=lambda rows: rows.groupby("months")["worse"].rank(pct=True))
    score = pair.groupby(["formulation", "panel"])["score"].mean().round(9)
    ours, theirs = score[name].to_numpy(), score[control].to_numpy()
    how = PermutationMethod(n_resamples=PERMUTATIONS, rng=np.random.default_rng(SEED))
    found = mannwhitneyu(theirs, ours, method=how)
    n = (len(ours), len(theirs))
    return float(found.statistic) / (n[0] * n[1]), float(found.pvalue), n
