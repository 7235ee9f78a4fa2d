"""Rules of dates: the plan, exchanged day and month, doubled readings, ended series."""

from __future__ import annotations

import numpy as np
import pandas as pd

from aging.checks.hits import NONE, hits, several
from aging.checks.limits import Limits
from aging.checks.table import MEASURED, Seen
from aging.cube import moments
from aging.vocabulary import DAYS_PER_MONTH, SERIES_ENDING_EVENTS

MONTHS_A_YEAR = 12


def off_plan(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Read outside the window of every visit that the site's plan holds."""
    plan, parts = seen.exposure.plan.sort_values("months"), []
    for site, rows in seen.series.groupby("site"):
        own = plan[plan["site"].isna() | (plan["site"] == site)]
        if own.empty:
            continue
        months = own["months"].to_numpy()
        gap = np.diff(months, append=np.inf) * limits.value("off-plan", "window_share", str(site))
        gap[-1] = gap[-2] if gap.size > 1 else np.inf
        reach = own["window_days"].to_numpy() / DAYS_PER_MONTH
        reach = np.where(np.isnan(reach), gap, reach)
        off = np.abs(rows["months"].to_numpy()[:, None] - months)
        planned = months[off.argmin(axis=1)]
        parts.append(rows.assign(planned=planned)[(off > reach).all(axis=1)])
    if not parts:
        return NONE
    rows = pd.concat(parts)
    return hits(
        "off-plan", rows, several(rows, "read at month {months:.1f}"),
        several(rows, "the window of month {planned:g}"),
        together=rows.groupby(["site", "day"]).ngroup(),
    )  # fmt: skip


def day_month(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Few panels on a day whose day and month, exchanged, make a day when the site was read."""
    rows = seen.rows[seen.rows["property"] == MEASURED]
    visits = rows.groupby(["site", "day"], as_index=False).agg(panel=("panel", "nunique"))
    least = limits.at("day-month", "panels", visits["site"])
    lone, tours = visits[visits["panel"] < least], visits[visits["panel"] >= least]
    may = (lone["day"].dt.day <= MONTHS_A_YEAR) & (lone["day"].dt.day != lone["day"].dt.month)
    lone = lone[may].assign(meant=[
        pd.Timestamp(day.year, day.day, day.month) for day in lone.loc[may, "day"]
    ])  # fmt: skip
    lone["meant"] = pd.to_datetime(lone["meant"])
    if lone.empty:
        return NONE
    near = lone.merge(tours, on="site", suffixes=("", "_tour"))
    away = (near["meant"] - near["day_tour"]).abs()
    near = near[away.dt.days <= limits.at("day-month", "days", near["site"])]
    rows = rows.merge(near[["site", "day", "meant"]].drop_duplicates(["site", "day"]),
                      on=["site", "day"])  # fmt: skip
    return hits("day-month", rows, rows["read_on"],
                (f"{day:%Y-%m-%d}, when the site was read" for day in rows["meant"]))  # fmt: skip


def twice(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Readings of one panel, property, state, instrument and day that differ."""
    key = ["panel", "property", "surface_state", "day", "instrument"]
    rows = seen.rows.fillna({"instrument": ""})
    rows = rows[rows["trusted"].notna()]
    by = rows.groupby(key)["value"]
    span = by.transform("max") - by.transform("min")
    odd = rows.assign(low=by.transform("min"), high=by.transform("max"))[
        (span > limits.at("twice", "differ", rows["site"]) + 1e-9) & ~_dense(rows)
    ]
    return hits("twice", odd, several(odd, "{low:.4g} and {high:.4g} on one day"), "one reading",
                together=odd.groupby(key).ngroup())  # fmt: skip


def _dense(rows: pd.DataFrame) -> pd.Series:
    """Whether the readings of a day carry a time, as those of a station do."""
    return rows["read_on"].str.len() > len("2025-01-01")


def after_end(seen: Seen, _: Limits) -> pd.DataFrame:
    """Unwashed readings after an event that ends the panel's unwashed series."""
    events = seen.exposure.events
    events = events[events["kind"].isin(SERIES_ENDING_EVENTS)]
    if events.empty:
        return NONE
    rows = seen.rows[seen.rows["surface_state"] == "as_exposed"]
    facts = events[["on", "kind"]].rename(columns={"kind": "event"})
    met = pd.concat([
        rows.merge(facts.assign(panel=events["panel"])[events["panel"].notna()], on="panel"),
        rows.merge(facts.assign(site=events["site"])[events["panel"].isna()], on="site"),
    ])  # fmt: skip
    over = moments(met["on"]).dt.normalize()
    met = met[(met["day"] > over) & (over >= moments(met["exposed_on"]))]
    met = met.sort_values("on").drop_duplicates("reading_id")
    return hits("after-end", met, several(met, "{event} on {on}, read on {read_on}"),
                "no unwashed reading after it")  # fmt: skip


RULES = (off_plan, day_month, twice, after_end)
