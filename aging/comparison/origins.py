"""Where a difference comes from: how it starts, how quickly and how far it soils, how it drifts.

At one time the state of a formulation is the sum of its parts in the reading equation, so that the
difference of two is, draw by draw, exactly

    initial    a                          reflectance when new
    plateau    -L phi(t)                  loss that soiling runs towards, at the site's own pace
    speed      -c L0 pace(t)              soiling faster or slower than the site
    drift      -d slow(t)                 slow loss that goes on

A formulation that starts higher and soils faster shows as + initial and - speed. Beside them stand
removable and permanent loss, which cut the same loss another way: what washing gives back, and what
it leaves.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from aging.comparison.differences import pairs_of
from aging.comparison.joint import Joint, campaigns
from aging.comparison.judge import Pair
from aging.decay.elimination import path_design
from aging.decay.posterior import SitePosterior
from aging.decay.site import Array
from aging.errors import require
from aging.projection import ALL_SITES, Fit
from aging.projection.states import lost

PARTS = {"initial": 0, "plateau": 1, "speed": 2, "drift": 3}
LOSSES = ("removable", "permanent")
COLUMNS = (
    "site", "formulation", "against", "property", "months", "part", "estimate", "lower", "upper",
    "level",
)  # fmt: skip


def origins(
    fitted: Fit, months: float = 36.0, level: float = 0.90, *, against: str | None = None
) -> pd.DataFrame:
    """Parts of every difference (COLUMNS), by site and over sites.

    initial, plateau, speed and drift add up to the difference of the state, before it is held
    within the property's range; removable and permanent are differences of losses, so that less
    is better.
    """
    require(0 < level < 1, "level", level, "between 0 and 1, such as 0.90")
    tail = (1 - level) / 2
    pairs = pairs_of(fitted, against)
    rows = []
    for part, joint in _joints(fitted, months).items():
        for pair in pairs:
            for site, gap in _sites(joint, pair):
                middle, low, high = np.quantile(gap, [0.5, tail, 1 - tail])
                rows.append((
                    site, *pair, fitted.measured.name, months, part, middle, low, high, level,
                ))  # fmt: skip
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _sites(joint: Joint, pair: Pair) -> Iterator[tuple[str, Array]]:
    gaps = joint.gaps(*pair)
    yield from gaps.items()
    yield ALL_SITES, np.mean(list(gaps.values()), axis=0)


def _joints(fitted: Fit, months: float) -> dict[str, Joint]:
    """Draws of each part of each series at one time."""
    where, shown = campaigns(fitted), fitted.as_read().shown
    parts: dict[str, dict[tuple[str, str], Array]] = {}
    known: dict[int, dict[str, Array]] = {}
    for one in fitted.series:
        if id(one.posterior) not in known:
            known[id(one.posterior)] = _parts(one.posterior, one.campaign.clock.at([months]))
            told = shown(one.campaign.formulations)
            washed = lost(one.posterior, one.campaign.clock.at([months]), told)
            known[id(one.posterior)] |= {name: washed[name][0] for name in LOSSES}
        for name, drawn in known[id(one.posterior)].items():
            parts.setdefault(name, {})[one.site, one.formulation] = drawn[:, one.group]
    return {name: Joint(values, where) for name, values in parts.items()}


def _parts(posterior: SitePosterior, at: Array) -> dict[str, Array]:
    none = np.zeros(1)
    design = path_design(posterior.grid, at, none, none, posterior.priors)[posterior.node, 0]
    return {
        name: posterior.path[..., place] * design[:, None, place] for name, place in PARTS.items()
    }
