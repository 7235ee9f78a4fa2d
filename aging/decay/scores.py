"""How good forecasts were, judged by what came later.

y the later value, F its forecast, a = 1 - level:

    interval score   (u - l) + (2/a) (l - y)+ + (2/a) (y - u)+
    pinball          max(q (y - Q), (q - 1) (y - Q)) for the forecast Q of quantile q
    CRPS             E|X - y| - E|X - X'|/2 for X, X' independent draws from F

in the unit of y, the lower the better, and least on average for the true F (Gneiting & Raftery
2007, doi 10.1198/016214506000001437). Fair CRPS of draws: Ferro 2014, doi 10.1002/qj.2270. Wilson
1927, doi 10.1080/01621459.1927.10502953.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from aging.decay.ragged import FloatArray
from aging.errors import require


@dataclass(frozen=True)
class Share:
    """`count` of `n` forecasts, as a share with its Wilson interval at `confidence`."""

    count: int
    n: int
    share: float
    lower: float
    upper: float
    confidence: float


def interval_score(
    y: npt.ArrayLike, lower: npt.ArrayLike, upper: npt.ArrayLike, level: float
) -> FloatArray:
    """Width of each interval plus 2/(1 - level) times the distance by which it missed y."""
    _between_0_and_1("level", level)
    value, l, u = _numbers(y=y, lower=lower, upper=upper)
    miss = np.maximum(l - value, 0) + np.maximum(value - u, 0)
    return u - l + 2 / (1 - level) * miss


def pinball(y: npt.ArrayLike, quantile: npt.ArrayLike, probability: float) -> FloatArray:
    """Loss of each forecast `quantile` of the given probability."""
    _between_0_and_1("probability", probability)
    value, forecast = _numbers(y=y, quantile=quantile)
    return np.maximum(probability * (value - forecast), (probability - 1) * (value - forecast))


def crps_normal(y: npt.ArrayLike, mean: npt.ArrayLike, sd: npt.ArrayLike) -> FloatArray:
    """CRPS of normal forecasts; |y - mean| where sd is 0."""
    value, centre, spread = _numbers(y=y, mean=mean, sd=sd)
    require(bool((spread >= 0).all()), "sd", sd, "0 or more")
    z = (value - centre) / np.where(spread > 0, spread, 1)
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    score = spread * (z * (2 * ndtr(z) - 1) + 2 * density - 1 / np.sqrt(np.pi))
    return np.where(spread > 0, score, np.abs(z))


def crps_draws(y: npt.ArrayLike, draws: npt.ArrayLike, *, fair: bool = True) -> FloatArray:
    """CRPS of forecasts given as draws (..., M) for y (...), in O(M log M).

    `fair` scores the distribution the draws came from, whatever M (2 or more); otherwise the draws
    themselves are the forecast.
    """
    value, sample = _numbers(y=np.asarray(y, float)[..., None], draws=draws)
    size = sample.shape[-1]
    require(size > fair, "draws", size, "2 or more for the fair score, 1 or more without")
    ranks = 2 * np.arange(1, size + 1) - size - 1
    apart = (np.sort(sample, axis=-1) * ranks).sum(axis=-1) / (size * (size - fair))
    return np.asarray(np.abs(sample - value).mean(axis=-1) - apart)


def coverage(
    y: npt.ArrayLike,
    lower: npt.ArrayLike,
    upper: npt.ArrayLike,
    *,
    independent: int | None = None,
    confidence: float = 0.95,
) -> Share:
    """Share of intervals that held y, ends included.

    `independent` is how many forecasts are independent (series, not their panels or readings);
    without it all are, and the Wilson interval may be too narrow.
    """
    value, l, u = _numbers(y=y, lower=lower, upper=upper)
    return _share((l <= value) & (value <= u), independent, confidence)


def violation(
    y: npt.ArrayLike,
    bound: npt.ArrayLike,
    side: Literal["lower", "upper"] = "lower",
    *,
    independent: int | None = None,
    confidence: float = 0.95,
) -> Share:
    """Share of y beyond a one-sided bound; `independent` as for coverage."""
    require(side in {"lower", "upper"}, "side", side, ("lower", "upper"))
    value, limit = _numbers(y=y, bound=bound)
    beyond = value < limit if side == "lower" else value > limit
    return _share(beyond, independent, confidence)


def wilson(share: float, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of the probability behind a share seen in n independent cases."""
    _between_0_and_1("confidence", confidence)
    require(n > 0, "n", n, "1 or more")
    require(0 <= share <= 1, "share", share, "0 to 1")
    z2 = float(ndtri(0.5 + 0.5 * confidence)) ** 2
    centre = (share + z2 / (2 * n)) / (1 + z2 / n)
    half = (z2 / n * (share * (1 - share) + z2 / (4 * n))) ** 0.5 / (1 + z2 / n)
    return max(centre - half, 0.0), min(centre + half, 1.0)


def _share(hit: npt.NDArray[np.bool_], independent: int | None, confidence: float) -> Share:
    require(hit.size > 0, "forecasts", 0, "at least one")
    n = hit.size if independent is None else independent
    require(n <= hit.size, "independent", independent, f"at most the {hit.size} forecasts")
    share = float(hit.mean())
    return Share(int(hit.sum()), hit.size, share, *wilson(share, n, confidence), confidence)


def _numbers(**given: npt.ArrayLike) -> list[FloatArray]:
    """As arrays of one shape; an end of an interval may be infinite, nothing may be missing."""
    arrays = {name: np.asarray(values, float) for name, values in given.items()}
    for name, values in arrays.items():
        missing = int(np.isnan(values).sum())
        require(missing == 0, name, f"{missing} missing", "numbers; leave missing forecasts out")
    return list(np.broadcast_arrays(*arrays.values()))


def _between_0_and_1(name: str, probability: float) -> None:
    require(0 < probability < 1, name, probability, "a number between 0 and 1")
