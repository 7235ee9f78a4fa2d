"""Properties that a dirt-resistant coating must not pay with: limits as data, verdicts, reasons.

A hard surface keeps clean and may crack: what wins on reflectance and fails one of these is no
winner. Limits stand in guards.csv (property, bound, limit, when, source, checked) and are replaced
by a file of the same columns. `when` is initial or latest: the readings of each panel's first or
last day. Where readings scatter the verdict is that of the mean's 95 % bounds; one reading, or
ratings, are judged by their worst. "control less" asks that the median over panels is at most so
much worse than that of the control of the same sites.
"""

from __future__ import annotations

from collections.abc import Hashable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from aging.decay.site import Array
from aging.errors import SourceError
from aging.records import Exposure
from aging.vocabulary import PROPERTIES

LIMITS = Path(__file__).with_name("guards.csv")
LIMIT_COLUMNS = ("property", "bound", "limit", "when", "source", "checked")
COLUMNS = (
    "formulation", "property", "value", "lower", "upper", "readings", "bound", "limit", "verdict",
    "source", "checked",
)  # fmt: skip
PASSES, FAILS, UNDECIDED, NOT_READ = "passes", "fails", "undecided", "not read"
AT_LEAST, AT_MOST, RELATIVE = "at least", "at most", "control less"
BOUNDS = (AT_LEAST, AT_MOST, RELATIVE)
LEVEL, FEW = 0.95, 2


def limits(path: str | Path = LIMITS) -> pd.DataFrame:
    """Table of limits; SourceError for a file that is none, naming every fault."""
    try:
        table = pd.read_csv(path)
    except (OSError, ValueError) as error:
        raise SourceError(f"{path}: cannot be read as a table of limits ({error})") from error
    missing = [name for name in LIMIT_COLUMNS if name not in table]
    if missing:
        raise SourceError(f"{path}: lacks {', '.join(missing)}; needs {', '.join(LIMIT_COLUMNS)}")
    allowed = {"property": [*PROPERTIES], "bound": [*BOUNDS], "when": ["initial", "latest"]}
    faults = [
        f"row {row}: {name} {value!r} is none of {', '.join(known)}"
        for name, known in allowed.items()
        for row, value in enumerate(table[name], start=2)
        if value not in known
    ]
    number = pd.to_numeric(table["limit"], errors="coerce")
    faults += [
        f"row {row}: limit {value!r} is no number"
        for row, (value, known) in enumerate(zip(table["limit"], number, strict=True), start=2)
        if not np.isfinite(known)
    ]
    if faults:
        raise SourceError(f"{path}: " + "; ".join(faults))
    return table[list(LIMIT_COLUMNS)].astype({"limit": float})


def guards(exposure: Exposure, table: pd.DataFrame | None = None) -> pd.DataFrame:
    """Verdict on each formulation and limit (COLUMNS), over all its panels."""
    table = limits() if table is None else table
    readings = exposure.readings.merge(
        exposure.panels[["panel", "formulation", "site"]], on="panel"
    )
    roles = exposure.formulations.set_index("formulation")["role"]
    controls = readings[readings["formulation"].map(roles) == "control"]
    rows = []
    for formulation in exposure.formulations["formulation"]:
        mine = readings[readings["formulation"] == formulation]
        for limit in table.to_dict("records"):
            name, when = str(limit["property"]), str(limit["when"])
            values = _chosen(mine[mine["property"] == name], when)
            if limit["bound"] == RELATIVE:
                beside = controls[
                    (controls["property"] == name) & controls["site"].isin(mine["site"])
                ]
                found = _beside(values, _chosen(beside, when), limit)
            else:
                found = _verdict(values, limit)
            rows.append({"formulation": formulation} | limit | found)
    return pd.DataFrame(rows, columns=list(COLUMNS))


def failing(verdicts: pd.DataFrame) -> dict[str, tuple[str, ...]]:
    """Properties that each formulation fails, only those that fail one."""
    failed = verdicts[verdicts["verdict"] == FAILS]
    return {str(one): tuple(each["property"]) for one, each in failed.groupby("formulation")}


def _chosen(readings: pd.DataFrame, when: str) -> Array:
    day = readings["read_on"].str.slice(0, 10)
    end = day.groupby(readings["panel"]).transform("min" if when == "initial" else "max")
    return readings.loc[day == end, "value"].to_numpy()


def _beside(values: Array, control: Array, limit: dict[Hashable, Any]) -> dict[str, object]:
    """Verdict on medians against the control's."""
    if not len(values) or not len(control):
        return _verdict(values[:0], limit)
    up = PROPERTIES[str(limit["property"])].higher_is_better is not False
    middle, bar = float(np.median(values)), float(np.median(control))
    short = bar - middle if up else middle - bar
    verdict = FAILS if short > float(limit["limit"]) else PASSES
    return {"value": middle, "lower": middle, "upper": middle, "readings": len(values),
            "verdict": verdict}  # fmt: skip


def _verdict(values: Array, limit: dict[Hashable, Any]) -> dict[str, object]:
    from scipy.stats import t

    if not len(values):
        return {"value": np.nan, "lower": np.nan, "upper": np.nan, "readings": 0,
                "verdict": NOT_READ}  # fmt: skip
    name, bar = str(limit["property"]), float(limit["limit"])
    sign = -1.0 if limit["bound"] == AT_MOST else 1.0
    rated = PROPERTIES[name].scale == "ordinal" or len(values) < FEW
    middle = float(sign * (sign * values).min()) if rated else float(values.mean())
    error = 0.0 if rated else float(values.std(ddof=1) / len(values) ** 0.5)
    reach = error * float(t.ppf((1 + LEVEL) / 2, max(len(values) - 1, 1)))
    worse, best = sorted((sign * (middle - reach), sign * (middle + reach)))
    verdict = PASSES if worse >= sign * bar else FAILS if best < sign * bar else UNDECIDED
    return {
        "value": middle, "lower": middle - reach, "upper": middle + reach,
        "readings": len(values), "verdict": verdict,
    }  # fmt: skip
