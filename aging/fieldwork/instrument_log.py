"""The instrument log: calibrations that are due, checks on a tile, and charts of what stays put.

A tile (certified value) and a file specimen (kept indoors) do not change, so what is read on them
is the instrument's own. Limits of the chart stand at 2 and 3 repeatability standard deviations:
one that is given (ISO 5725-2), or the pooled one of the first readings of each tile and specimen.
"""

from __future__ import annotations

import math

import pandas as pd

from aging.conditions import comparable
from aging.cube import moments
from aging.errors import require
from aging.ledger import Ledger, Receipt
from aging.records import SHEETS, Exposure, empty_frame
from aging.vocabulary import CHECK_STAGES, property_named

SOON_DAYS = 30  # before a calibration ends: assumed
FIRST = 5  # readings that set a level and its scatter: assumed
WARNING, ACTION = 2, 3  # standard deviations: the usual limits of control charts
CALIBRATION = ("instrument", "kind", "serial", "laboratory", "calibration_due", "days_left",
               "last_check", "state")  # fmt: skip
CONTROL = ("instrument", "series", "kind", "at", "value", "reference", "deviation", "sigma",
           "verdict")  # fmt: skip


def record_check(
    book: Ledger, instrument: str, stage: str, value: float, *, at: str, by: str,
    tile: str | None = None, certified: float | None = None, operator: str | None = None,
    remark: str | None = None,
) -> Receipt:  # fmt: skip
    """Store what an instrument read on a tile `before`, `during` or `after` a visit.

    tile, certified: the instrument's own where they are not given. CallError for an instrument or
    stage that is not known, a value or moment that is none.
    """
    known = book.read().instruments.drop_duplicates("instrument", keep="last")
    known = known.set_index("instrument")
    require(instrument in known.index, "instrument", instrument, known.index)
    require(stage in CHECK_STAGES, "stage", stage, CHECK_STAGES)
    require(math.isfinite(value), "value", value, "a number")
    moment = pd.to_datetime(at, format="ISO8601", errors="coerce")
    require(pd.notna(moment), "at", at, "a moment such as 2026-04-03T09:40")
    own = known.loc[instrument]
    row = {
        "instrument": instrument, "at": at, "stage": stage, "value": value, "operator": operator,
        "tile": tile or own["tile"], "remark": remark,
        "certified": own["tile_value"] if certified is None else certified,
    }  # fmt: skip
    sheets = {name: empty_frame(name) for name in SHEETS}
    kinds = sheets["instrument_checks"].dtypes
    sheets["instrument_checks"] = pd.DataFrame([row], columns=kinds.index).astype(kinds)
    receipts = book.append(Exposure(**sheets), by=by, source="instrument log")
    return next(one for one in receipts if one.sheet == "instrument_checks")


def calibrations(exposure: Exposure, as_of: str | pd.Timestamp) -> pd.DataFrame:
    """A row an instrument (CALIBRATION), the most pressing first.

    state: overdue, due soon (30 days), valid, or unknown without a date. days_left is below 0 when
    overdue, last_check the newest tile check up to the day.
    """
    today = pd.Timestamp(as_of).normalize()
    rows = exposure.instruments.drop_duplicates("instrument", keep="last").copy()
    rows["calibration_due"] = moments(rows["calibration_due"])
    rows["days_left"] = (rows["calibration_due"] - today).dt.days
    checks = exposure.instrument_checks.assign(at=moments(exposure.instrument_checks["at"]))
    checks = checks[checks["at"] < today + pd.Timedelta(days=1)]
    last = checks.groupby("instrument")["at"].max()
    rows["last_check"] = last.reindex(rows["instrument"]).array
    left = rows["days_left"]
    rows["state"] = "valid"
    for state, holds in (
        ("unknown", left.isna()), ("due soon", left <= SOON_DAYS), ("overdue", left < 0),
    ):  # fmt: skip
        rows.loc[holds, "state"] = state
    return rows.sort_values("days_left")[list(CALIBRATION)].reset_index(drop=True)


def control_chart(
    exposure: Exposure, property_name: str = "solar_reflectance", repeatability: float | None = None
) -> pd.DataFrame:
    """What tiles and file specimens were read beyond their level (CONTROL), by time.

    The level of a tile is its certified value, that of a file specimen the mean of its first FIRST
    readings with the instrument. Tiles belong to instruments that read the property. sigma is
    `repeatability` in the property's unit, else pooled over the first FIRST readings of an
    instrument's series. verdict: inside, warning (beyond 2 sigma), action (beyond 3), or unknown.
    """
    property_named(property_name)
    own = comparable(exposure)[0]
    own = own[own["property"] == property_name]
    rows = pd.concat([_specimens(exposure, own), _tiles(exposure, own)], ignore_index=True)
    rows = rows.sort_values(["instrument", "series", "at"], ignore_index=True)
    series = rows.groupby(["instrument", "series"])
    early = rows[series.cumcount() < FIRST]
    level = early.groupby(["instrument", "series"])["value"].mean().rename("level")
    rows = rows.join(level, on=["instrument", "series"])
    rows["reference"] = rows["reference"].fillna(rows.pop("level"))
    rows["deviation"] = rows["value"] - rows["reference"]
    if repeatability is None:
        each = early.groupby(["instrument", "series"])["value"].agg(["var", "size"])
        each = each[each["size"] > 1].assign(free=lambda some: some["size"] - 1)
        squares = (each["var"] * each["free"]).groupby("instrument").sum()
        spread = (squares / each["free"].groupby("instrument").sum()) ** 0.5
        rows["sigma"] = rows["instrument"].map(spread).astype(float)
    else:
        require(repeatability > 0, "repeatability", repeatability, "above 0")
        rows["sigma"] = repeatability
    off = rows["deviation"].abs() / rows["sigma"].where(rows["sigma"] > 0)
    rows["verdict"] = "inside"
    for verdict, holds in (
        ("warning", off > WARNING), ("action", off > ACTION), ("unknown", off.isna()),
    ):  # fmt: skip
        rows.loc[holds, "verdict"] = verdict
    return rows.sort_values(["at", "instrument", "series"], ignore_index=True)[list(CONTROL)]


def _specimens(exposure: Exposure, readings: pd.DataFrame) -> pd.DataFrame:
    filed = exposure.panels.loc[exposure.panels["kind"] == "file_specimen", "panel"]
    rows = readings[readings["panel"].isin(filed) & readings["instrument"].notna()]
    rows = rows[rows["surface_state"] == "as_exposed"]
    return pd.DataFrame({
        "instrument": rows["instrument"], "series": rows["panel"], "kind": "file specimen",
        "at": moments(rows["read_on"]), "value": rows["value"], "reference": float("nan"),
    })  # fmt: skip


def _tiles(exposure: Exposure, readings: pd.DataFrame) -> pd.DataFrame:
    rows = exposure.instrument_checks
    rows = rows[rows["instrument"].isin(readings["instrument"].dropna())]
    log = exposure.instruments.drop_duplicates("instrument", keep="last").set_index("instrument")
    own = log[["tile", "tile_value"]].reindex(rows["instrument"]).set_axis(rows.index)
    return pd.DataFrame({
        "instrument": rows["instrument"],
        "series": "tile " + rows["tile"].fillna(own["tile"]).fillna("of " + rows["instrument"]),
        "kind": "tile", "at": moments(rows["at"]), "value": rows["value"],
        "reference": rows["certified"].fillna(own["tile_value"]),
    })  # fmt: skip
