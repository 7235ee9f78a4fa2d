"""What would narrow an interval, judged without a refit.

visit  : Bayes linear (Goldstein and Wooff 2007, Bayes Linear Statistics): the residual variance of
         a regression of the draws on what the visit would read, of the formulation and in the mean
         of the site (formulations are exchangeable: these two tell what all do). It leaves out what
         the visit says of the season and of the course beyond a straight line, so that it promises
         rather too little.
panels : n / (n + k) of the variance of the panels' part, as if they had hung from the start
site   : S / (S + 1) of the variance of the mean over S sites, as if read like the others
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd

from aging.decay.site import Array
from aging.projection.fit import ALL_SITES, TARGETS, Fit, Key
from aging.projection.width import SOURCES, Parts, cases_of, parts_of, share_of_each
from aging.standing import together

REMEDY_COLUMNS = (
    "site", "formulation", "property", "months", "target", "remedy", "amount", "width_factor",
)  # fmt: skip
AFTER, MORE_PANELS = (1, 3, 6, 12), (1, 3)
ANOTHER_VISIT = 2**32  # added to the seed, or it would be the one that is projected


def remedies(
    fit: Fit,
    months: float = 36.0,
    of: str | None = None,
    parts: Mapping[Key, Parts] | None = None,
) -> pd.DataFrame:
    """What would narrow each interval, best first: REMEDY_COLUMNS, a row a remedy.

    remedy and its amount: a "visit" at that month of exposure (to every site, for site "all"), so
    many more "panels" of the formulation at each site, one more "site" (only for site "all").
    of: a formulation, where the others need not be told. parts: as of `shares`.
    width_factor: expected width over today's. What is already measured has no rows.
    """
    parts = parts_of(fit, months) if parts is None else parts
    told = tuple(one for one in fit.series if of in {None, one.formulation})
    known = replace(fit, series=told).standings(months)
    visit = cache(lambda month: _new_visit(fit, month))
    rows = []
    for label, members in cases_of(parts, of):
        seen = together({one[0]: known[one] for one in members})
        if seen.status == "already measured":
            continue
        last = round(max(known[one].months for one in members))
        panels = np.array([known[one].panels for one in members])
        for target in TARGETS:
            drawn = [parts[one][target] for one in members]
            of_panels = np.array([share_of_each(part)[SOURCES.index("panels")] for part in drawn])
            of_panels = np.maximum(of_panels, 0.0)  # below 0 only by chance
            left = {
                ("visit", month): np.array(
                    [
                        _unexplained(part.sum(axis=0), *visit(month)[one])
                        for part, one in zip(drawn, members, strict=True)
                    ]
                )
                for month in (last + after for after in AFTER)
                if month < months
            }
            left |= {("panels", k): 1 - of_panels * k / (panels + k) for k in MORE_PANELS}
            if label == ALL_SITES:
                left["site", 1] = np.full(panels.size, panels.size / (panels.size + 1))
            variance = np.array([part.sum(axis=0).var() for part in drawn])
            for remedy, of_each in left.items():
                factor = float(variance @ of_each / variance.sum()) ** 0.5
                rows.append((
                    label, members[0][1], fit.gathered.property.name, months, target, *remedy,
                    factor,
                ))  # fmt: skip
    frame = pd.DataFrame(rows, columns=list(REMEDY_COLUMNS))
    return frame.sort_values(
        ["formulation", "site", "target", "width_factor"], kind="stable", ignore_index=True
    )


def _new_visit(fit: Fit, month: float) -> dict[Key, tuple[Array, Array]]:
    """Draws of what another visit reads of each series, and in the mean of its site."""
    each = {id(one.posterior): one for one in fit.series}
    read = {}
    for name, one in each.items():
        other = replace(one.posterior, seed=one.posterior.seed + ANOTHER_VISIT)
        read[name] = other.at(one.campaign.clock.at([month]))[1][0]
    return {
        (one.site, one.formulation): (
            read[id(one.posterior)][:, one.group], read[id(one.posterior)].mean(axis=1),
        )
        for one in fit.series
    }  # fmt: skip


def _unexplained(target: Array, own: Array, site: Array) -> float:
    """Share of the variance of `target` (D,) that a regression on the other two leaves."""
    cov = np.cov([target, own, site])
    return float(1 - cov[0, 1:] @ np.linalg.pinv(cov[1:, 1:]) @ cov[0, 1:] / cov[0, 0])
