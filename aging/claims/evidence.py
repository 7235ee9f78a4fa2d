"""What stands behind a value: the unwashed readings of its panels, and what is known of them.

Only readings that may stand in the series count (`cube.seen`: as exposed, before any logged wash),
of the panels that the fit took.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from aging.cube import moments, seen
from aging.projection import Fit
from aging.vocabulary import DAYS_PER_MONTH

COUNTED = (
    "site", "formulation", "panel", "visit", "at", "exposed_on", "months", "value", "instrument",
    "weighting", "method", "illuminant", "observer_deg", "geometry",
)  # fmt: skip


@dataclass(frozen=True)
class Evidence:
    """A fit, and what the gates ask beside it; None where nobody knows.

    findings: open rows of `aging.checks`. changes: every stored row of the formulations sheet, with
    recorded_at. coverage: back-test summary with cut, coverage, coverage_upper, n_series.
    """

    fit: Fit
    findings: pd.DataFrame | None = None
    changes: pd.DataFrame | None = None
    coverage: pd.DataFrame | None = None

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
        days = (kept["at"] - moments(kept["exposed_on"])) / pd.Timedelta(days=1)
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
