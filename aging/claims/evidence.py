"""What stands behind a value: the unwashed readings of its panels, and what is known of them.

Only readings that may stand in the series count (`cube.seen`: as exposed, before any logged wash),
of the panels that the fit took.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pandas as pd

from aging.backtesting import CUTS, backtest
from aging.checks import check, own_limits
from aging.cube import moments, seen
from aging.errors import ModelError
from aging.projection import Fit, fit
from aging.records import Exposure
from aging.source import is_store, open_source
from aging.vocabulary import DAYS_PER_MONTH

SECONDS_PER_DAY = 86_400
CLOSE = 1.0  # months: a visit so near a cut is that cut's own
COUNTED = (
    "site", "formulation", "panel", "visit", "at", "exposed_on", "months", "value", "instrument",
    "weighting", "method", "illuminant", "observer_deg", "geometry",
)  # fmt: skip


@dataclass(frozen=True)
class Evidence:
    """A fit, and what the gates ask beside it; None where nobody knows.

    findings: open rows of `aging.checks`. changes: every stored row of the formulations sheet, with
    recorded_at. coverage: back-test summary with cut, coverage, coverage_upper, n_series. revision:
    of the store that was read.
    """

    fit: Fit
    findings: pd.DataFrame | None = None
    changes: pd.DataFrame | None = None
    coverage: pd.DataFrame | None = None
    revision: int | None = None

    @cached_property
    def counted(self) -> pd.DataFrame:
        """Unwashed readings that count (COUNTED), of what was fitted; values as read."""
        exposure, rows = self.fit.exposure, seen(self.fit.exposure)[0]
        name = self.fit.gathered.property.name
        kept = rows[(rows["property"] == name) & (rows["surface_state"] == "as_exposed")]
        kept = kept.merge(exposure.panels[["panel", "formulation", "exposed_on"]], on="panel")
        held = {
            (one.formulation, panel) for one in self.fit.series for panel in one.campaign.panels
        }
        keys = zip(kept["formulation"], kept["panel"], strict=True)
        kept = kept[[key in held for key in keys]]
        exposed = kept["at"] - moments(kept["exposed_on"])
        days = exposed.dt.total_seconds() / SECONDS_PER_DAY
        return kept.assign(months=days / DAYS_PER_MONTH)[list(COUNTED)]

    @cached_property
    def _each(self) -> dict[str, pd.DataFrame]:
        return {str(name): rows for name, rows in self.counted.groupby("formulation")}

    def of(self, formulation: str) -> pd.DataFrame:
        """Counted readings of one formulation."""
        return self._each.get(formulation, self.counted[:0])

    def around(self, formulation: str, months: float, window_days: float) -> pd.DataFrame:
        """Those read nearest to a claimed month, one a panel, within the window."""
        rows = self.of(formulation)
        off = (rows["months"] - months).abs() * DAYS_PER_MONTH
        near = rows.assign(off=off)[off <= window_days].sort_values("off")
        return near.drop_duplicates("panel")

    def sites(self, formulation: str) -> tuple[str, ...]:
        """Sites that the fit has of a formulation."""
        return tuple(one.site for one in self.fit.series if one.formulation == formulation)


def evidence_of(
    source: str | Path,
    property: str = "solar_reflectance",  # noqa: A002 - the field's own word
    *,
    back_test: bool = True,
    on_progress: Callable[[int, int], None] | None = None,
) -> Evidence:
    """All that a claim on a source may rest on: fit, open findings, changes of formula, coverage.

    back_test: hold forecasts from the latest usual cut against what was read later. A folder keeps
    no earlier versions, so that nobody knows whether a formula changed.
    """
    exposure, changes, revision = _read(source)
    fitted = fit(exposure, property, on_progress=on_progress)
    findings = check(exposure, limits=own_limits(source)).open
    coverage = coverage_of(fitted) if back_test else None
    return Evidence(fitted, findings, changes, coverage, revision)


def _read(source: str | Path) -> tuple[Exposure, pd.DataFrame | None, int | None]:
    if not is_store(source):
        return open_source(source), None, None
    from aging.ledger import open_ledger  # a folder needs no database

    with open_ledger(source) as book:
        revision = book.revision
        return book.read(as_of_revision=revision), book.recorded("formulations"), revision


def coverage_of(fitted: Fit) -> pd.DataFrame | None:
    """Back-test summary from the latest usual cut; None where nothing was read after it."""
    exposure, name = fitted.exposure, fitted.gathered.property.name
    read = min(one.campaign.months.max() for one in fitted.series)
    cut = max((one for one in CUTS if one < read - CLOSE), default=CUTS[0])
    try:
        return backtest(exposure, name, cuts=(cut,), rivals=()).board
    except ModelError:
        return None
