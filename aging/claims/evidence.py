"""What stands behind a value: the unwashed readings of its panels, and what is known of them.

Only readings that may stand in the series count (`cube.seen`: as exposed, before any logged wash),
of the panels that the fit took.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from aging.backtesting import CUTS, backtest
from aging.checks import check, own_limits
from aging.cube import moments, seen
from aging.errors import ModelError
from aging.projection import Fit, fit
from aging.records import Exposure
from aging.source import is_store, open_source
from aging.vocabulary import DAYS_PER_MONTH

if TYPE_CHECKING:  # a folder needs no database
    from aging.ledger import Ledger

Progress = Callable[[int, int], None]
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
    on_progress: Progress | None = None,
) -> Evidence:
    """All that a claim on a source may rest on: fit, open findings, changes of formula, coverage.

    back_test: hold forecasts from the latest usual cut against what was read later. A folder keeps
    no earlier versions, so that nobody knows whether a formula changed.
    """
    asked, limits = (property, back_test, on_progress), own_limits(source)
    if not is_store(source):
        return _gathered(open_source(source), *asked, limits=limits)
    from aging.ledger import open_ledger  # a folder needs no database

    with open_ledger(source) as book:
        return evidence_at(book, book.revision, *asked, limits=limits)


def evidence_at(
    book: Ledger,
    revision: int,
    property: str = "solar_reflectance",  # noqa: A002 - the field's own word
    back_test: bool = True,
    on_progress: Progress | None = None,
    *,
    limits: Path | None = None,
) -> Evidence:
    """The same of what a store held at a revision; limits: of `check`, None for the shipped."""
    exposure = book.read(as_of_revision=revision)
    found = _gathered(exposure, property, back_test, on_progress, limits=limits)
    return replace(found, changes=book.recorded("formulations", revision), revision=revision)


def _gathered(
    exposure: Exposure,
    name: str,
    back_test: bool,
    on_progress: Progress | None,
    *,
    limits: Path | None,
) -> Evidence:
    fitted = fit(exposure, name, on_progress=on_progress)
    findings = check(exposure, limits=limits).open
    coverage = coverage_of(fitted) if back_test else None
    return Evidence(fitted, findings, None, coverage)


def coverage_of(fitted: Fit) -> pd.DataFrame | None:
    """Back-test summary from the latest usual cut; None where nothing was read after it."""
    exposure, name = fitted.exposure, fitted.gathered.property.name
    read = min(one.campaign.months.max() for one in fitted.series)
    cut = max((one for one in CUTS if one < read - CLOSE), default=CUTS[0])
    try:
        return backtest(exposure, name, cuts=(cut,), rivals=()).board
    except ModelError:
        return None
