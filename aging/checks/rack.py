"""Rules of visits, instruments and raters: what all panels of a visit share."""

from __future__ import annotations

import numpy as np
import pandas as pd

from aging.checks.hits import NONE, hits, several
from aging.checks.limits import Limits
from aging.checks.table import MEASURED, RACK, REPLICATES, Seen, happened, looked_up
from aging.conditions import HELD_UNDER
from aging.cube import moments
from aging.vocabulary import PROPERTIES

DISTURBING = ("storm", "dust", "smoke", "pollen", "mowing", "works")
SETTLED_MONTHS = 3.0  # before it a rack may lose much between two visits
DAY = pd.Timedelta(days=1)


def together(seen: Seen, limits: Limits) -> pd.DataFrame:
    """A rack off the course between its neighbours, or at its last visit, far from the one before.

    Of neighbouring visits the farthest off is doubted. A logged event explains it.
    """
    series = seen.series.assign(step=seen.series["value"] - seen.series["prior"])
    visits = series.groupby(RACK, as_index=False).agg(
        site=("site", "first"), bent=("bent", "median"), step=("step", "median"),
        panels=("step", "count"), months=("months", "median"),
    )  # fmt: skip
    later = visits["bent"].isna() & (visits["months"] > SETTLED_MONTHS)
    last = later & (visits["step"].abs() > limits.at("together", "warn_last", visits["site"]))
    size = visits["bent"].abs().fillna(0.0)
    around = size.groupby(visits["campaign"])
    most = np.fmax(around.shift().fillna(0), around.shift(-1).fillna(0))
    grade = limits.graded("together", size, visits["site"]).where(size >= most).mask(last, "warn")
    moved = visits["bent"].mask(last, visits["step"])
    visits = visits.assign(moved=moved, grade=grade, most=limits.at(
        "together", "warn", visits["site"]))  # fmt: skip
    odd = visits[grade.notna() & (visits["panels"] >= REPLICATES)]
    rows = series.merge(odd[[*RACK, "moved", "grade", "most"]], on=RACK)
    since = rows["day"] - limits.at("together", "event_days", rows["site"]) * DAY
    known = happened(seen.exposure, DISTURBING, rows, since) & (rows["moved"] < 0)
    rows["grade"] = rows["grade"].mask(known, "info")
    rows["why"] = np.where(known, "; an event was logged", "")
    return hits(
        "together", rows, several(rows, "the rack moved by {moved:+.3f}{why}"),
        several(rows, "within {most:.3f} of its course"), severity=rows["grade"],
        together=rows.groupby(RACK).ngroup(),
    )  # fmt: skip


def file_specimens(seen: Seen, limits: Limits) -> pd.DataFrame:
    """File specimens off their own level; where it blocks, all that was read that day with it."""
    moved = seen.file_shift.copy()
    moved["grade"] = limits.graded("file-specimens", moved["shift"].abs(), moved["site"])
    moved["most"] = limits.at("file-specimens", "warn", moved["site"])
    key = ["site", "day", "instrument"]
    rows = seen.rows[seen.rows["property"] == MEASURED].fillna({"instrument": ""})
    rows = rows.merge(moved.dropna(subset=["grade"]), on=key)
    rows = rows[(rows["kind"] == "file_specimen") | (rows["grade"] == "block")]
    told = "the median of {specimens} file specimens moved by {shift:+.3f}"
    return hits(
        "file-specimens", rows, several(rows, told), several(rows, "within {most:.3f}"),
        severity=rows["grade"], together=rows.groupby(key).ngroup(),
    )  # fmt: skip


def tile_check(seen: Seen, limits: Limits) -> pd.DataFrame:
    """A tile off its certified value: all that was read that day with the instrument.

    The limits are those of a reflectance: a gloss meter's tile is in units of its own.
    """
    rows, checks = seen.rows, seen.exposure.instrument_checks
    used = rows.assign(judged=rows["property"] == MEASURED).groupby("instrument")["judged"].any()
    checks = checks[~checks["instrument"].isin(used.index[~used])]
    if checks.empty:
        return NONE
    certificate = seen.exposure.instruments.set_index("instrument")["tile_value"]
    certified = checks["certified"].fillna(looked_up(checks["instrument"], certificate))
    checks = checks.assign(
        certified=certified,
        off=checks["value"] - certified,
        day=moments(checks["at"]).dt.normalize(),
    ).rename(columns={"value": "read", "at": "checked_at"})
    rows = checks[["instrument", "day", "read", "certified", "off", "checked_at"]].merge(
        seen.rows, on=["instrument", "day"], how="left"
    )
    rows["read_on"] = rows["read_on"].fillna(rows["checked_at"])
    everywhere = rows["site"].fillna("")
    grade = limits.graded("tile-check", rows["off"].abs().round(6), everywhere)
    rows = rows.assign(grade=grade, most=limits.at("tile-check", "warn", everywhere))
    rows = rows[grade.notna()]
    told = "{instrument} read {read:.3f} on a tile of {certified:.3f}"
    return hits(
        "tile-check", rows, several(rows, told), several(rows, "within {most:.3f}"),
        severity=rows["grade"], together=rows.groupby(["instrument", "checked_at"]).ngroup(),
    )  # fmt: skip


def calibration(seen: Seen, _: Limits) -> pd.DataFrame:
    """Read after the instrument's calibration was due."""
    due = seen.exposure.instruments.set_index("instrument")["calibration_due"].dropna()
    if due.empty:
        return NONE
    rows = seen.rows.assign(due=looked_up(seen.rows["instrument"], due)).dropna(subset=["due"])
    rows = rows[rows["day"] > moments(rows["due"])]
    return hits(
        "calibration", rows, several(rows, "{instrument} was due on {due}"),
        "calibrated on the day of reading",
        together=rows.groupby(["instrument", "site", "day"]).ngroup(),
    )  # fmt: skip


def conditions(seen: Seen, _: Limits) -> pd.DataFrame:
    """Weighting, method or geometry other than most of the site's readings of the property."""
    found = []
    for names in sorted(set(HELD_UNDER.values())):
        held = [name for name, columns in HELD_UNDER.items() if columns == names]
        rows = seen.rows[seen.rows["property"].isin(held)]
        for name in (name for name in names if len(rows[name].dropna().unique()) > 1):
            stated = rows.dropna(subset=[name])
            count = stated.groupby(["site", "property", name])["value"].transform("size")
            order = stated.assign(count=count, most=stated[name])
            order = order.sort_values("count", ascending=False, kind="stable")
            most = order.drop_duplicates(["site", "property"])[["site", "property", "most"]]
            odd = stated.merge(most, on=["site", "property"])
            odd = odd[odd[name] != odd["most"]]
            found.append(hits(
                "conditions", odd, (f"{name} {value}" for value in odd[name]),
                (f"{value}, as most of the series" for value in odd["most"]),
                together=odd.groupby(["site", "property", "day", name]).ngroup().astype(str) + name,
            ))  # fmt: skip
    return pd.concat(found) if found else NONE


def instrument_changed(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Another instrument than at the visit before; file specimens that stayed excuse it."""
    rows = seen.rows[seen.rows["property"] == MEASURED].dropna(subset=["instrument"])
    visits = rows.groupby(["site", "day"], as_index=False)["instrument"].first()
    visits["before"] = visits.groupby("site")["instrument"].shift()
    changed = visits[visits["before"].notna() & (visits["before"] != visits["instrument"])]
    if changed.empty:
        return NONE
    changed = changed.merge(seen.file_shift, on=["site", "day", "instrument"], how="left")
    bridged = changed["shift"].abs() <= limits.at("instrument-changed", "bias", changed["site"])
    changed["grade"] = np.where(bridged, "info", "warn")
    rows = rows.merge(changed, on=["site", "day", "instrument"])
    return hits(
        "instrument-changed", rows, several(rows, "{before} before, now {instrument}"),
        "one instrument, or file specimens that bridge the change",
        severity=rows["grade"], together=rows.groupby(["site", "day"]).ngroup(),
    )  # fmt: skip


def rater_changed(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Ratings of a site that step, most panels alike, just as the rater changes."""
    scales = pd.Series({
        name: prop.step for name, prop in PROPERTIES.items() if prop.scale == "ordinal"
    })  # fmt: skip
    rows = seen.rows[seen.rows["property"].isin(scales.index)].dropna(subset=["operator"])
    if rows.empty:
        return NONE
    each = rows.groupby(["panel", "property", "surface_state"])
    rows = rows.assign(before=each["operator"].shift(), step=rows["value"] - each["value"].shift())
    rows = rows[rows["before"].notna() & (rows["before"] != rows["operator"])]
    key = ["site", "property", "day"]
    rows["steps"] = rows["step"] / looked_up(rows["property"], scales)
    panels = rows.groupby(key)["steps"].transform("count")
    rows["steps"] = rows.groupby(key)["steps"].transform("median")
    much = rows["steps"].abs() >= limits.at("rater-changed", "step", rows["site"])
    rows = rows[much & (panels >= REPLICATES)]
    told = "ratings stepped by {steps:+.1f} from {before} to {operator}"
    return hits("rater-changed", rows, several(rows, told), "no step between raters",
                together=rows.groupby(key).ngroup())  # fmt: skip


def event_near(seen: Seen, limits: Limits) -> pd.DataFrame:
    """A storm, dust, mowing or works shortly before a visit."""
    series = seen.series
    since = series["day"] - limits.at("event-near", "days", series["site"]) * DAY
    rows = series[happened(seen.exposure, DISTURBING, series, since)]
    return hits("event-near", rows, "an event in the two weeks before", "nothing to do",
                together=rows.groupby(RACK).ngroup())  # fmt: skip


RULES = (
    together, file_specimens, tile_check, calibration, conditions, instrument_changed,
    rater_changed, event_near,
)  # fmt: skip
