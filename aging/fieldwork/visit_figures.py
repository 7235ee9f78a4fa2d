"""A visit in figures: means and changes, what was not read, the weather it was read in.

Readings are told as they were read: the mean of a formulation's panels with the standard deviation
between panels, a rating by its median. Change is that of the panels read both times.
"""

from __future__ import annotations

import pandas as pd

from aging.fieldwork.round_sheet import GONE
from aging.fieldwork.story import standings
from aging.records import Exposure
from aging.vocabulary import PROPERTIES

RAIN_DAYS, RAIN_MM = 30, 5.0
FILE = " (file specimens)"
VALUES = ("property", "formulation", "surface_state", "panels", "mean", "sd", "last_on",
          "last_mean", "change")  # fmt: skip
MISSING = ("panel", "formulation", "place", "lacks")


def outdoors(exposure: Exposure, site: str) -> pd.DataFrame:
    """Outdoor readings at a site with their `day`; file specimens are formulations of their own."""
    facts = exposure.panels.loc[
        exposure.panels["site"] == site, ["panel", "formulation", "kind", "rack", "position"]
    ]
    rows = exposure.readings.merge(facts, on="panel")
    rows = rows[rows["evidence"].isna() | (rows["evidence"] == "outdoor")]
    filed = (rows["kind"] == "file_specimen").map({True: FILE, False: ""})
    return rows.assign(day=rows["read_on"].str[:10], formulation=rows["formulation"] + filed)


def values(exposure: Exposure, site: str, on: str) -> pd.DataFrame:
    """Mean (median of a rating) and spread of each property, formulation and state (VALUES).

    change: mean over panels read then and at the last day before, last_on, on which the formulation
    was read so. Readings that do not count for another reason than their state are left out.
    """
    rows = outdoors(exposure, site)
    why = standings(exposure, site)
    rows = rows[rows["reading_id"].map(why) == ""]
    series = ["property", "formulation", "surface_state"]
    each = rows.groupby([*series, "panel", "day"], as_index=False)["value"].mean()
    found = []
    for key, some in each[each["day"] <= on].groupby(series, sort=False):
        table = some.pivot_table(index="panel", columns="day", values="value")
        if on not in table:
            continue
        ordinal = PROPERTIES[key[0]].scale == "ordinal"
        now, past = table[on].dropna(), table.drop(columns=on)
        last_on = past.columns[-1] if past.shape[1] else ""
        last = past[last_on].dropna() if last_on else now.iloc[:0]
        middle = "median" if ordinal else "mean"
        found.append((
            *key, len(now), now.agg(middle), float("nan") if ordinal else now.std(), last_on,
            last.agg(middle), (now - last).dropna().agg(middle),
        ))  # fmt: skip
    frame = pd.DataFrame(found, columns=list(VALUES))
    place = {name: at for at, name in enumerate(PROPERTIES)}
    return frame.sort_values(
        ["property", "surface_state", "formulation"], ignore_index=True,
        key=lambda column: column.map(place) if column.name == "property" else column,
    )  # fmt: skip


def missing(exposure: Exposure, site: str, on: str) -> pd.DataFrame:
    """Panels that hung on the day and were not read in full (MISSING).

    A panel lacks what others were read for that day and it was read for before; one never read
    lacks all.
    """
    gone = exposure.events[exposure.events["kind"].isin(GONE)].dropna(subset="panel")
    gone = gone[gone["on"].str[:10] <= on]
    panels = exposure.panels[exposure.panels["site"] == site]
    hung = panels[(panels["exposed_on"] <= on) & ~(panels["closed_on"] < on).fillna(value=False)]
    hung = hung[~hung["panel"].isin(gone["panel"])]
    rows = outdoors(exposure, site)
    rows = rows[(rows["day"] <= on) & (rows["surface_state"] == "as_exposed")]
    today = rows[rows["day"] == on]
    asked = [name for name in PROPERTIES if (today["property"] == name).any()]
    before = rows[rows["day"] < on].groupby("panel")["property"].agg(set).to_dict()
    read = today.groupby("panel")["property"].agg(set).to_dict()
    found = []
    for panel, formulation, rack, position in hung[
        ["panel", "formulation", "rack", "position"]
    ].itertuples(index=False):
        lacks = (before.get(panel) or set(asked)) - read.get(panel, set())
        words = [PROPERTIES[name].label for name in asked if name in lacks]
        if words:
            place = " ".join(one for one in (rack, position) if pd.notna(one))
            lacked = ", ".join(words) if panel in read else "all of it"
            found.append((panel, formulation, place, lacked))
    return pd.DataFrame(found, columns=list(MISSING)).astype("str")


def conditions(exposure: Exposure, site: str, on: str) -> tuple[tuple[str, str], ...]:
    """Rain and temperature up to the day, as far as the sheet weather knows them, in words."""
    weather = exposure.weather[exposure.weather["site"] == site].sort_values("date")
    weather = weather[weather["date"] <= on]
    since = f"{pd.Timestamp(on) - pd.Timedelta(days=RAIN_DAYS):%Y-%m-%d}"
    rain = weather.dropna(subset="rain_mm")
    month = rain[rain["date"] > since]
    wet = rain.loc[rain["rain_mm"] >= RAIN_MM, "date"]
    warm = weather.loc[weather["date"] == on, "temperature_C"].dropna()
    few = f" (known on {len(month)} of {RAIN_DAYS} days)" if len(month) < RAIN_DAYS else ""
    fell = f"{month['rain_mm'].sum():.0f} mm{few}" if len(month) else "not known"
    ago = f"{(pd.Timestamp(on) - pd.Timestamp(wet.iloc[-1])).days} days" if len(wet) else "unknown"
    return (
        (f"Rain in {RAIN_DAYS} days", fell),
        (f"Since rain of {RAIN_MM:g} mm or more in a day", ago),
        ("Mean temperature of the day", f"{warm.iloc[0]:.0f} °C" if len(warm) else "not known"),
    )
