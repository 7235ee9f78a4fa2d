"""Difference of each formulation to the control of its site, from the joint draws.

Panels on one rack share each visit's weather, set-up and operator, so that this error cancels in
the difference; the mean over sites keeps the disagreement between sites.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from aging.errors import ModelError, require
from aging.projection import ALL_SITES, TARGETS, Fit, Series, fit, group_by_formulation
from aging.records import Exposure
from aging.standing import CANNOT, together

COLUMNS = (
    "site", "formulation", "control", "property", "months", "target", "estimate", "lower", "upper",
    "level", "probability_better", "n_panels", "status", "notes",
)  # fmt: skip


@dataclass(frozen=True)
class Comparison:
    """A tidy frame (COLUMNS) of differences to the control, and plain notes on the whole."""

    frame: pd.DataFrame
    notes: tuple[str, ...]


def contrast(fitted: Fit, months: float = 36.0, level: float = 0.90) -> Comparison:
    """Differences to the control at one time; better means in the property's better direction."""
    require(0 < level < 1, "level", level, "between 0 and 1, such as 0.90")
    draws = fitted.draws([months])
    standings = fitted.standings(months)
    pairs = {(one.site, one.formulation): control for one, control in _pairs(fitted)}
    if not pairs:
        raise ModelError("no site has a control (role 'control' in formulations) to compare with")
    sign = -1.0 if fitted.measured.higher_is_better is False else 1.0
    tail = (1 - level) / 2
    rows = []
    for formulation, sites in group_by_formulation(pairs).items():
        cases = [((site,), site) for site in sites] + [(tuple(sites), ALL_SITES)]
        for members, label in cases:
            seen = together({site: standings[site, formulation] for site in members})
            controls = sorted({pairs[site, formulation] for site in members})
            for target in TARGETS:
                gaps = [
                    draws[site, formulation][target][0]
                    - draws[site, pairs[site, formulation]][target][0]
                    for site in members
                ]
                gap = np.mean(gaps, axis=0)
                low, middle, high = np.quantile(gap, [tail, 0.5, 1 - tail])
                better = float((sign * gap > 0).mean())
                if seen.status == CANNOT:
                    low = middle = high = better = np.nan
                rows.append((
                    label, formulation, " / ".join(controls), fitted.measured.name, months, target,
                    middle, low, high, level, better, seen.panels, seen.status,
                    "; ".join(seen.notes),
                ))  # fmt: skip
    return Comparison(pd.DataFrame(rows, columns=list(COLUMNS)), fitted.notes)


def _pairs(fitted: Fit) -> Iterable[tuple[Series, str]]:
    """Every series with the control of its own campaign."""
    facts = fitted.exposure.formulations
    controls = set(facts.loc[facts["role"] == "control", "formulation"])
    for one in fitted.series:
        here = [
            other.formulation
            for other in fitted.series
            if other.posterior is one.posterior and other.formulation in controls
        ]
        if here and one.formulation not in here:
            yield one, here[0]


def compare(
    source: str | Path | Exposure,
    months: float = 36.0,
    level: float = 0.90,
    as_of: str | pd.Timestamp | None = None,
    property: str = "solar_reflectance",  # noqa: A002 - the field's own word
    **options: str | Path | None,
) -> Comparison:
    """Compare a source's formulations with their control; see `aging.fit` for the source."""
    return contrast(fit(source, property, as_of, **options), months, level)  # type: ignore[arg-type]
