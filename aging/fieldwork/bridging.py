"""Two instruments or laboratories on the same panels: bias, spread, and one scale for both.

With n_i readings of a panel by party i of p, mean y_i, standard deviation s_i (ISO 5725-2, 7.4):

    sr^2 = sum (n_i - 1) s_i^2 / sum (n_i - 1)              repeatability
    sL^2 = max(0, (sd^2 - sr^2) / n),  sd^2 = sum n_i (y_i - y)^2 / (p - 1),
           n = (sum n_i - sum n_i^2 / sum n_i) / (p - 1)    between parties
    sR^2 = sr^2 + sL^2                                      reproducibility

Nothing is corrected unless asked: `corrections` gives readings that supersede others and say why.
Source: ISO 5725-2, from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import pandas as pd

from aging.conditions import comparable
from aging.cube import moments
from aging.errors import ModelError, require
from aging.records import SHEETS, Exposure, empty_frame
from aging.vocabulary import property_named

Party = Literal["instrument", "laboratory"]
FEWEST = 3  # bridging panels behind an interval: assumed; practice is 5 to 8
MARK = "bridging: "


@dataclass(frozen=True)
class Bias:
    """What `second` reads beyond `first`: mean over panels, interval, scatter of differences."""

    first: str
    second: str
    property: str
    by: Party
    panels: int
    bias: float
    lower: float
    upper: float
    level: float
    scatter: float


def precision(readings: pd.DataFrame) -> pd.DataFrame:
    """Repeatability and reproducibility of each panel read by two parties or more.

    readings: columns panel, party, value, a row a reading. Frame: panel, parties, readings, mean,
    sr, sL, sR in the unit read; sr, and with it sR, is NaN where nobody read a panel twice.
    """
    rows = readings[["panel", "party", "value"]].dropna()
    cells = rows.groupby(["panel", "party"])["value"].agg(["size", "mean", "var"]).reset_index()
    found = [(panel, *_precision(some)) for panel, some in cells.groupby("panel") if len(some) > 1]
    return pd.DataFrame(found, columns=["panel", "parties", "readings", "mean", "sr", "sL", "sR"])


def met(
    exposure: Exposure, property_name: str, *, within_days: float = 3, by: Party = "instrument"
) -> pd.DataFrame:
    """Readings (panel, party, at, value) of panels that two parties read close in time.

    Close: no more than `within_days` from a reading of the same panel by another party. Only
    unwashed readings that may stand in one series; a laboratory is that of the instrument, else of
    the operator.
    """
    pairs = _pairs(exposure, property_name, within_days, by)
    return pairs.drop_duplicates("reading_id")[["panel", "party", "at", "value"]]


def bias(
    exposure: Exposure, first: str, second: str, property_name: str = "solar_reflectance", *,
    within_days: float = 3, by: Party = "instrument", level: float = 0.95,
) -> Bias:  # fmt: skip
    """Mean over panels of what `second` read minus `first`, with its t interval.

    A panel counts once, by the mean of the differences of its readings that are close in time.
    ModelError with fewer than FEWEST panels in common.
    """
    from scipy.stats import t

    require(0 < level < 1, "level", level, "above 0 and below 1")
    pairs = _pairs(exposure, property_name, within_days, by)
    known = sorted(pairs["party"].unique())
    for name in (first, second):
        require(name in known, by, name, known or f"none read within {within_days:g} d of another")
    pairs = pairs[(pairs["party"] == second) & (pairs["party_other"] == first)]
    each = (pairs["value"] - pairs["value_other"]).groupby(pairs["panel"]).mean()
    if len(each) < FEWEST:
        raise ModelError(
            f"{first} and {second} read {len(each)} panels in common within {within_days:g} days; "
            f"a bias needs {FEWEST} or more"
        )
    mean, scatter = float(each.mean()), float(each.std())
    reach = float(t.ppf((1 + level) / 2, len(each) - 1)) * scatter / math.sqrt(len(each))
    return Bias(first, second, property_name, by, len(each), mean, mean - reach, mean + reach,
                level, scatter)  # fmt: skip


def corrections(
    exposure: Exposure, found: Bias, reason: str, *, since: str = "", until: str = "9999"
) -> Exposure:
    """Readings of `found.second` on the scale of `found.first`, and nothing else, to append.

    Each supersedes the reading as it was and says by how much and why; readings corrected for a
    bias already stay as they are. since, until: days (inclusive) of the readings. CallError without
    a reason, and where a corrected value could not exist.
    """
    require(bool(reason.strip()), "reason", reason, "why the readings are put on another scale")
    rows = exposure.readings
    mine = (rows["property"] == found.property) & (_party(exposure, rows, found.by) == found.second)
    day = rows["read_on"].str[:10]
    mine &= (day >= since) & (day <= until) & ~rows["reason"].str.startswith(MARK).fillna(False)
    old = rows[mine]
    prop = property_named(found.property)
    value = (old["value"] - found.bias).round(prop.decimals + 2)
    out = old.loc[(value < prop.low) | (value > prop.high), "reading_id"]
    require(out.empty, "corrected value", ", ".join(out[:3]), f"{prop.low:g} to {prop.high:g}")
    told = (f"{MARK}{found.second} reads {found.bias:+.{prop.decimals + 1}f} against {found.first} "
            f"on {found.panels} panels; {reason.strip()}")  # fmt: skip
    new = old.assign(
        value=value, supersedes=old["reading_id"], reading_id=old["reading_id"] + "~bridged",
        reason=told, recorded_by=None, recorded_at=None,
    )  # fmt: skip
    new = new.astype(rows.dtypes).reset_index(drop=True)
    return Exposure(**{name: empty_frame(name) for name in SHEETS} | {"readings": new})


def _pairs(exposure: Exposure, property_name: str, within_days: float, by: Party) -> pd.DataFrame:
    """Each reading beside each close one of the same panel by another party (`..._other`)."""
    property_named(property_name)
    require(within_days >= 0, "within_days", within_days, "0 or more")
    rows = comparable(exposure)[0]
    rows = rows[(rows["property"] == property_name) & (rows["surface_state"] == "as_exposed")]
    rows = rows.assign(party=_party(exposure, rows, by), at=moments(rows["read_on"]))
    rows = rows[["reading_id", "panel", "party", "at", "value"]].dropna()
    pairs = rows.merge(rows, on="panel", suffixes=("", "_other"))
    gap = (pairs["at"] - pairs["at_other"]).abs()
    close = (pairs["party"] != pairs["party_other"]) & (gap <= pd.Timedelta(days=within_days))
    return pairs[close].reset_index(drop=True)


def _party(exposure: Exposure, readings: pd.DataFrame, by: Party) -> pd.Series:
    if by == "instrument":
        return readings["instrument"]
    found = pd.Series(float("nan"), index=readings.index, dtype="str")
    for name in ("instrument", "operator"):
        facts = getattr(exposure, f"{name}s").drop_duplicates(name, keep="last").set_index(name)
        own = facts["laboratory"].reindex(readings[name]).set_axis(readings.index)
        found = found.fillna(own)
    return found


def _precision(cells: pd.DataFrame) -> tuple[int, int, float, float, float, float]:
    """parties, readings, mean, sr, sL, sR of one panel from its cells (size, mean, var)."""
    size, parties = cells["size"], len(cells)
    total = int(size.sum())
    mean = float((size * cells["mean"]).sum() / total)
    between = float((size * (cells["mean"] - mean) ** 2).sum() / (parties - 1))
    count = (total - float((size**2).sum()) / total) / (parties - 1)
    free = total - parties
    within = float((cells["var"].fillna(0) * (size - 1)).sum()) / free if free else math.nan
    among = max(0.0, (between - within) / count) if free else math.nan
    return parties, total, mean, math.sqrt(within), math.sqrt(among), math.sqrt(within + among)
