"""What a forecaster says of one series."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aging.decay.site import Array


@dataclass(frozen=True)
class Forecast:
    """At M months: estimate, ends of the interval (NaN where none is given); or why it is missing.

    estimate, lower, upper : (M,)
    """

    estimate: Array
    lower: Array
    upper: Array
    why: str = ""


def missing(ahead: Array, why: str) -> Forecast:
    """No forecast, and the reason."""
    none = np.full(ahead.size, np.nan)
    return Forecast(none, none, none, why)
