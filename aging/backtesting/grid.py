"""Forecasts of statsmodels' time series models, which need readings on a regular grid of months.

The means are scaled to their own range: the optimisers stop early on small numbers. A fit that
does not converge is a missing forecast with that reason.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from aging.backtesting.forecast import Forecast, missing
from aging.decay.site import Array

LEAST_MONTHS, LEAST_VISITS = 6, 4
DAMPING = (0.8, 0.98)  # usual range: outside it the trend dies at once or never


def damped_trend(t: Array, y: Array, ahead: Array, level: float) -> Forecast:
    """Additive exponential smoothing with damped trend, on a grid filled by interpolation."""
    from statsmodels.tsa.exponential_smoothing.ets import ETSModel

    months = np.arange(np.ceil(t[0]), t[-1] + 1e-9)
    if months.size < LEAST_MONTHS:
        return missing(ahead, f"fewer than {LEAST_MONTHS} months on the grid")

    def predict(values: Array, steps: int) -> Any:
        model = ETSModel(
            pd.Series(values), error="add", trend="add", damped_trend=True,
            bounds={"damping_trend": DAMPING},
        )  # fmt: skip
        fitted = model.fit(disp=False)
        found = fitted.get_prediction(start=values.size, end=values.size + steps - 1)
        return found.summary_frame(alpha=1 - level).to_numpy()

    return _on_grid(months, np.interp(months, t, y), ahead, predict)


def local_level(t: Array, y: Array, ahead: Array, level: float) -> Forecast:
    """Random walk with noise (Kalman filter), on a grid with gaps."""
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    if t.size < LEAST_VISITS:
        return missing(ahead, f"fewer than {LEAST_VISITS} visits")
    means = pd.Series(y).groupby(np.rint(t)).mean()
    months = np.arange(means.index[0], means.index[-1] + 1)

    def predict(values: Array, steps: int) -> Any:
        found = UnobservedComponents(values, level="llevel").fit(disp=0).get_forecast(steps)
        return np.column_stack([found.predicted_mean, found.conf_int(alpha=1 - level)])

    return _on_grid(months, means.reindex(months).to_numpy(), ahead, predict)


def _on_grid(
    months: Array, values: Array, ahead: Array, predict: Callable[[Array, int], Any]
) -> Forecast:
    """Forecast in units of the series' own range, then between the months of the grid."""
    from statsmodels.tools.sm_exceptions import ConvergenceWarning

    first, scale = np.nanmean(values), np.nanmax(values) - np.nanmin(values)
    if scale == 0:
        return missing(ahead, "no change to model")
    steps = int(np.ceil(ahead.max() - months[-1])) + 1
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            warnings.simplefilter("error", ConvergenceWarning)
            found = predict((values - first) / scale, steps)
    except (ConvergenceWarning, np.linalg.LinAlgError):
        return missing(ahead, "did not converge")
    if not np.isfinite(found).all():
        return missing(ahead, "did not converge")
    later = months[-1] + 1 + np.arange(steps)
    return Forecast(*(first + scale * np.interp(ahead, later, column) for column in found.T))
