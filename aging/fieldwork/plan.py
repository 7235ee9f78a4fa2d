"""The plan of visits: when each campaign is to be read, and what became of each visit.

A campaign is the panels of a site that were exposed on the same day. Without rows of its own in
the sheet `plan` a campaign is read at MONTHS (dense while soiling runs fastest). A reading day
fills the planned visit whose day it is nearest to, if it lies in that visit's window. Months and
windows: assumed.
"""

from __future__ import annotations

import pandas as pd

from aging.cube import moments
from aging.errors import require
from aging.fieldwork.round_sheet import GONE
from aging.records import Exposure
from aging.vocabulary import DAYS_PER_MONTH

MONTHS = (0, 1, 2, 3, 6, 9, 12, 18, 24, 30, 36)
EARLY, LATE = (3, 7), (36, 30)  # months up to which, from which; window in days
BETWEEN = 14
DONE = 0.5  # share of the hanging panels whose reading makes a visit: assumed
COLUMNS = ("site", "exposed_on", "months", "due_on", "opens_on", "closes_on", "read_on", "panels",
           "read_panels", "state")  # fmt: skip


def visit_plan(exposure: Exposure, as_of: str | pd.Timestamp) -> pd.DataFrame:
    """A row for each planned visit (COLUMNS), by due day; days are timestamps, unread NaT.

    panels hang when the window opens, read_panels of them were read in it; read_on is the day on
    which most were. state on the day `as_of`: done; to come (window still shut); due; overdue (due
    day past, window open); missed (window shut). A visit after the last panel left is none.
    """
    try:
        today = pd.Timestamp(as_of).tz_localize(None).normalize()
    except ValueError:
        require(False, "as_of", as_of, "a date such as 2026-04-03")
    panels = _panels(exposure)
    visits = panels[["site", "exposed_on"]].drop_duplicates()
    if visits.empty:
        return pd.DataFrame(columns=list(COLUMNS))
    wanted = {site: _wanted(exposure.plan, site) for site in visits["site"].unique()}
    visits = pd.concat([
        wanted[site].assign(site=site, exposed_on=start)
        for site, start in visits.itertuples(index=False)
    ], ignore_index=True)  # fmt: skip
    visits["due_on"] = visits["exposed_on"] + _days(visits["months"] * DAYS_PER_MONTH)
    reach = _days(visits.pop("window_days"))
    opens = visits["due_on"] - reach
    visits["opens_on"] = opens.where(opens > visits["exposed_on"], visits["exposed_on"])
    visits["closes_on"] = visits["due_on"] + reach
    visits = visits.reset_index(names="visit").merge(panels, on=["site", "exposed_on"])
    visits = visits[~(visits["left_on"] < visits["opens_on"])]
    hanging = visits.groupby("visit").size()
    read = _read(exposure, visits, today)
    visits = visits.drop(columns=["panel", "left_on"]).drop_duplicates().set_index("visit")
    visits["panels"] = hanging
    visits = visits.join(read)
    visits["read_panels"] = visits["read_panels"].fillna(0).astype(int)
    enough = visits["read_panels"] >= DONE * visits["panels"]
    visits["state"] = "due"
    for state, holds in (
        ("overdue", today > visits["due_on"]), ("missed", today > visits["closes_on"]),
        ("to come", today < visits["opens_on"]), ("done", enough),
    ):  # fmt: skip
        visits.loc[holds, "state"] = state
    order = visits.sort_values(["due_on", "site", "exposed_on"], kind="stable")
    return order[list(COLUMNS)].reset_index(drop=True)


def _days(number: pd.Series) -> pd.Series:
    return pd.to_timedelta(number.round().astype(int), unit="D")


def _panels(exposure: Exposure) -> pd.DataFrame:
    """panel, site, exposed_on, left_on of what hangs outdoors; left_on is NaT while it hangs."""
    panels = exposure.panels[exposure.panels["kind"] != "file_specimen"]
    gone = exposure.events[exposure.events["kind"].isin(GONE)].dropna(subset="panel")
    lost = moments(gone["on"]).groupby(gone["panel"]).min()
    taken = lost.dt.normalize().reindex(panels["panel"]).set_axis(panels.index)
    left = pd.concat([moments(panels["closed_on"]), taken], axis="columns").min(axis="columns")
    start = moments(panels["exposed_on"]).dt.normalize()
    return panels[["panel", "site"]].assign(exposed_on=start, left_on=left)


def _wanted(plan: pd.DataFrame, site: str) -> pd.DataFrame:
    """months, window_days of a site: its own rows before those that hold everywhere."""
    rows = plan[plan["site"].isna() | (plan["site"] == site)].sort_values("site")
    rows = rows[["months", "window_days"]].drop_duplicates("months")
    if rows.empty:
        rows = pd.DataFrame({"months": MONTHS, "window_days": float("nan")}).astype(float)
    usual = pd.Series(float(BETWEEN), index=rows.index)
    usual = usual.mask(rows["months"] <= EARLY[0], EARLY[1]).mask(
        rows["months"] >= LATE[0], LATE[1]
    )
    return rows.assign(window_days=rows["window_days"].fillna(usual)).sort_values("months")


def _read(exposure: Exposure, visits: pd.DataFrame, today: pd.Timestamp) -> pd.DataFrame:
    """read_on and read_panels of each visit that has any outdoor reading up to today."""
    outdoors = exposure.readings["evidence"].fillna("outdoor") == "outdoor"
    readings = exposure.readings.loc[outdoors, ["panel", "read_on"]]
    days = readings.assign(day=moments(readings["read_on"]).dt.normalize())
    days = days.loc[days["day"] <= today, ["panel", "day"]].drop_duplicates()
    rows = visits.merge(days, on="panel")
    rows = rows[(rows["opens_on"] <= rows["day"]) & (rows["day"] <= rows["closes_on"])]
    rows = rows.assign(off=(rows["day"] - rows["due_on"]).abs()).sort_values(["off", "day"])
    rows = rows.drop_duplicates(["panel", "day"])
    count = rows.groupby("visit")["panel"].nunique()
    most = rows.groupby(["visit", "day"], sort=False).size().rename("size").reset_index()
    most = most.sort_values("size", ascending=False, kind="stable").drop_duplicates("visit")
    return pd.DataFrame({"read_on": most.set_index("visit")["day"], "read_panels": count})
