"""Whether groups of panels that hang side by side differ: in slope, then in intercept.

Of reading y of panel p at visit v, with t = log(1 + months) to make the loss straighter,

    y = nu_v + s (a_g + b_g t) + u_p + w_p t + e

nu_v is what the visit made of all panels of a rack, the common course in it; a_g and b_g what group
g has beyond it, s is 0 for panels that are only the zero of a difference. First the slopes b_g are
held against one slope, then, where p is above 0.25, the intercepts a_g against one (ICH Q1E). The
readings of one panel are no independent samples, as those of a stability study are: the unit of
error is the panel, so that each F has the mean square between panels of a group under it, of their
slopes and of their levels. Of complete tables these are the F of an analysis of variance of the
panels' own slopes and means (tests/comparison/test_poolability.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from aging.comparison.pooling import ALPHA
from aging.decay.site import Array

SLOPES, INTERCEPTS = "slopes", "intercepts"
NOTHING = 1e-9  # a column shorter than this was swept away
Codes = NDArray[np.integer[Any]]


@dataclass(frozen=True)
class Steps:
    """p of each step, nan where it cannot be taken; what each group has beyond 0 at the last month.

    The `offset` (K,) of groups that all of the panels belong to is known up to a common constant.
    """

    p_slopes: float
    p_intercepts: float
    offset: Array

    @property
    def decided_by(self) -> str:
        """The step that decides; empty where none can."""
        if self.p_slopes <= ALPHA:
            return SLOPES
        return INTERCEPTS if np.isfinite(self.p_intercepts) else ""

    @property
    def poolable(self) -> bool:
        """Whether neither step objects."""
        return self.decided_by == INTERCEPTS and self.p_intercepts > ALPHA


def two_steps(
    y: Array, months: Array, *, visit: Codes, panel: Codes, group: Codes, share: Array
) -> Steps:
    """Test readings (N,); visit, panel, group count from 0 without gaps, share is s: 1 or 0."""
    t = np.log1p(months)[:, None]
    one, panels = share[:, None], np.eye(int(panel.max()) + 1)[panel]
    groups = one * np.eye(int(group.max()) + 1)[group]
    swept = _Swept(y, visit)
    p_slopes = swept.p((panels, one * t), (panels, groups * t), (panels, panels * t))
    p_intercepts = swept.p((one, one * t), (groups, one * t), (panels, one * t))
    level, slope = np.split(swept.coefficients(groups, groups * t), 2)
    return Steps(p_slopes, p_intercepts, level + slope * t.max())


class _Swept:
    """Least squares of readings with a value for each visit."""

    def __init__(self, y: Array, visit: Codes) -> None:
        self._visit, self._count = visit, np.bincount(visit)
        self._y = self._sweep(y[:, None])[:, 0]

    def _sweep(self, columns: Array) -> Array:
        total = np.zeros((self._count.size, columns.shape[1]))
        np.add.at(total, self._visit, columns)
        return columns - (total / self._count[:, None])[self._visit]

    def coefficients(self, *parts: Array) -> Array:
        """The shortest of the best."""
        return np.linalg.lstsq(self._sweep(np.hstack(parts)), self._y, rcond=NOTHING)[0]

    def _left(self, parts: tuple[Array, ...]) -> tuple[float, int]:
        """Sum of squares left, and how many columns count."""
        rows = self._sweep(np.hstack(parts))
        rows = rows[:, np.linalg.norm(rows, axis=0) > NOTHING]
        found, _, rank, _ = np.linalg.lstsq(rows, self._y, rcond=NOTHING)
        return float(((self._y - rows @ found) ** 2).sum()), int(rank)

    def p(self, *nested: tuple[Array, ...]) -> float:
        """The p of the second model beyond the first; what the third takes from it is error."""
        from scipy.stats import f

        (least, few), (more, some), (most, all_) = map(self._left, nested)
        if some in (few, all_) or more <= most:
            return float("nan")
        ratio = (least - more) / (some - few) / ((more - most) / (all_ - some))
        return float(f.sf(ratio, some - few, all_ - some))
