"""The score board: means of scores, with an interval of the coverage that counts series.

Forecasts of one series share its panels and its past, so that the Wilson interval of a coverage
takes the number of series (campaign x site x formulation) and not of forecasts. Series of one
campaign share its visits: even this interval is rather too narrow than too wide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from aging.decay import scores as rules
from aging.errors import require

SERIES = ["site", "formulation", "campaign"]
BY = ("forecaster", "cut", "band", "site", "formulation", "campaign")
MEANS = ("crps", "interval_score", "pinball_05", "bias", "abs_error")
BANDS = {6.0: "up to 6", 12.0: "6 to 12", 24.0: "12 to 24", np.inf: "over 24"}  # months ahead


@dataclass(frozen=True)
class Backtest:
    """Forecasts and how they did.

    scores: one row a forecast of one later mean of a formulation at a site. Columns: site,
    formulation, campaign (its start), cut, months, horizon (months - cut), band (of the horizon),
    forecaster, observed, estimate, lower, upper, level, bound_05 (the one-sided 95 % lower bound),
    inside and below (1 or 0; NaN without interval), crps, interval_score, pinball_05, bias
    (estimate - observed), abs_error, missing (why there is no forecast, else empty). All but the
    first seven in the property's unit. CRPS of a rival takes its interval as a normal one's.
    """

    scores: pd.DataFrame
    property: str
    level: float
    notes: tuple[str, ...]

    @cached_property
    def board(self) -> pd.DataFrame:
        """Summary by cut and forecaster, see `by`."""
        return self.by("cut", "forecaster")

    def by(self, *columns: str) -> pd.DataFrame:
        """Summary by some of forecaster, cut, band, site, formulation, campaign.

        Columns: those named, n_series, n_forecasts, n_missing, coverage with the ends of its 95 %
        Wilson interval, below (share under the one-sided 95 % lower bound), means of the scores.
        """
        require(bool(columns) and set(columns) <= set(BY), "by", columns, BY)
        grouped = self.scores.groupby(list(columns), observed=True)
        rows = [dict(zip(columns, key, strict=True)) | _summary(part) for key, part in grouped]
        return pd.DataFrame(rows)


def scored(forecasts: pd.DataFrame, level: float, forecasters: Sequence[str]) -> pd.DataFrame:
    """Forecasts with their scores; NaN where there is no estimate or no interval."""
    y, low, high = (forecasts[name].to_numpy() for name in ("observed", "lower", "upper"))
    given = ~np.isnan(low)
    bias = forecasts["estimate"] - forecasts["observed"]

    def where_given(values: Any) -> Any:
        column = np.full(len(forecasts), np.nan)
        column[given] = values
        return column

    bound = forecasts["bound_05"].to_numpy()
    edges = [-np.inf, *BANDS]
    return forecasts.assign(
        band=pd.cut(forecasts["horizon"], edges, labels=list(BANDS.values())),
        forecaster=forecasts["forecaster"].astype(pd.CategoricalDtype(list(forecasters))),
        level=level,
        inside=where_given((low <= y)[given] & (y <= high)[given]),
        below=where_given((y < bound)[given]),
        interval_score=where_given(rules.interval_score(y[given], low[given], high[given], level)),
        pinball_05=where_given(rules.pinball(y[given], bound[given], 0.05)),
        bias=bias,
        abs_error=bias.abs(),
    )


def _summary(part: pd.DataFrame) -> dict[str, Any]:
    made = part[part["estimate"].notna()]
    held = made[made["inside"].notna()]
    share = (np.nan, np.nan, np.nan)
    if len(held):
        found = rules.coverage(held["observed"], held["lower"], held["upper"],
                               independent=_series(held))  # fmt: skip
        share = found.share, found.lower, found.upper
    return {
        "n_series": _series(made),
        "n_forecasts": len(made),
        "n_missing": len(part) - len(made),
        **dict(zip(("coverage", "coverage_lower", "coverage_upper"), share, strict=True)),
        "below": held["below"].mean(),
        **{name: made[name].mean() for name in MEANS},
    }


def _series(rows: pd.DataFrame) -> int:
    return len(rows[SERIES].drop_duplicates())
