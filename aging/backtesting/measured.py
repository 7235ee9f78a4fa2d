"""What the projection was measured to hold, on simulated campaigns that it did not make.

The figures (measured.csv) come from tests/projection/test_coverage_study.py: courses of loss that
no projection assumes, forecasts of the reading at 36 months from what was known after 6 to 24.
"""

from __future__ import annotations

from importlib.resources import files

import pandas as pd

PROMISED, CAMPAIGNS, MONTHS = 0.90, 200, 36


def measured() -> pd.DataFrame:
    """Columns course, cut [months known], coverage, error_ratio, below, difference; shares 0 to 1.

    coverage: share of 90 % intervals that held. error_ratio: mean absolute error over that of the
    better of two simple forecasts. below: readings under the one-sided 95 % bound. difference:
    coverage of the difference to the control.
    """
    with files("aging.backtesting").joinpath("measured.csv").open(encoding="utf-8") as table:
        return pd.read_csv(table)
