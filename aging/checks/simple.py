"""The few limits that a phone can hold a reading to while the panel is still at hand."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from aging.checks.limits import limits_with
from aging.checks.table import MEASURED, NEW_MONTHS, REPLICATES
from aging.checks.values import AGES
from aging.vocabulary import PROPERTIES


def simple_limits(
    site: str = "", own: str | Path | pd.DataFrame | None = None
) -> dict[str, dict[str, object]]:
    """Limits by property, as plain numbers that JSON can carry.

    Each property: low, high (cannot exist beyond), usual_low, usual_high, step. Solar reflectance
    also: falls, [[until month or None, most per month], ...] over at least a month; rises, without
    a wash, and rises_after_rain, with rain_mm or more since; above_new, above the panel's own
    initial value; like_washed, the share of the initial value that a rise of rises or more must
    not reach; spot_range_new and replicates_new (a standard deviation), until new_months, then
    spot_range_aged and replicates_aged; replicates, how many of them can be judged.
    """
    known = limits_with(own)

    def one(rule: str, limit: str) -> float:
        return known.value(rule, limit, site)

    found: dict[str, dict[str, object]] = {
        name: {
            "low": prop.low, "high": prop.high, "usual_low": prop.usual_low,
            "usual_high": prop.usual_high, "step": prop.step,
        }
        for name, prop in PROPERTIES.items()
    }  # fmt: skip
    found[MEASURED] |= {
        "falls": [
            [until if until < float("inf") else None, one("fell-fast", f"warn{suffix}")]
            for suffix, until in AGES
        ],
        "rises": one("rose", "warn"), "rises_after_rain": one("rose", "warn_rain"),
        "rain_mm": one("rose", "rain_mm"), "above_new": one("above-new", "more"),
        "like_washed": one("like-washed", "share"), "new_months": NEW_MONTHS,
        "spot_range_new": one("spots", "range_new"), "spot_range_aged": one("spots", "range_aged"),
        "replicates": REPLICATES, "replicates_new": one("replicates", "warn_new"),
        "replicates_aged": one("replicates", "warn_aged"),
    }  # fmt: skip
    return found
