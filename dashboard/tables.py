"""Frames the pages show, shaped from the exposure: counting and dates only.

Panels in the weather are those of any kind but file specimens; a visit is a day on which at
least one of them was read at the site. A panel is open until its closed_on.
"""

from __future__ import annotations

from datetime import date

import pandas as pd

from aging.records import Exposure
from aging.spectra import LAB
from aging.vocabulary import DAYS_PER_MONTH, DERIVED, PROPERTIES
from dashboard import wording


def panels(exposure: Exposure) -> pd.DataFrame:
    """Panels in the weather, dates as datetime64."""
    frame = exposure.panels[exposure.panels["kind"] != "file_specimen"]
    return frame.assign(
        exposed_on=pd.to_datetime(frame["exposed_on"]), closed_on=pd.to_datetime(frame["closed_on"])
    )


def readings(exposure: Exposure) -> pd.DataFrame:
    """Readings of panels in the weather with formulation, site, day `on` and months exposed."""
    facts = panels(exposure)[["panel", "formulation", "site", "exposed_on", "closed_on"]]
    frame = exposure.readings.merge(facts, on="panel")
    frame["on"] = pd.to_datetime(frame["read_on"].str[:10])
    frame["months"] = (frame["on"] - frame["exposed_on"]).dt.days / DAYS_PER_MONTH
    return frame


def properties(read: pd.DataFrame, *, derived: bool = True) -> list[str]:
    """Properties of panels in the weather that can be averaged, in the vocabulary's order.

    Those that were read, or calculated as readings are; `derived`: what their projection tells too.
    """
    names = set(read["property"].unique())
    if names.issuperset(LAB) and read["illuminant"].notna().any():
        names.add("yellowness_index")
    offered = [*PROPERTIES.values(), *(DERIVED.values() if derived else ())]
    return [one.name for one in offered if one.read_as in names and one.scale != "ordinal"]


def visits(read: pd.DataFrame) -> pd.DataFrame:
    """site, on, panels: how many panels were read at the site on that day."""
    return read.groupby(["site", "on"])["panel"].nunique().rename("panels").reset_index()


def spans(exposure: Exposure, read: pd.DataFrame) -> pd.DataFrame:
    """site, start, end of the panels hung on one day: to their closing or their last reading."""
    hung = panels(exposure)
    last = read.groupby("panel")["on"].max()
    hung["end"] = hung["closed_on"].fillna(hung["panel"].map(last)).fillna(hung["exposed_on"])
    grouped = hung.groupby(["site", "exposed_on"])["end"].max().reset_index()
    return grouped.rename(columns={"exposed_on": "start"})


def by_site(exposure: Exposure, read: pd.DataFrame, today: date) -> pd.DataFrame:
    """One row a site: what hangs there, since when, and when it was last read."""
    hung = panels(exposure)
    still = hung[hung["closed_on"].isna()].groupby("site")
    frame = (
        exposure.sites[["site", "name", "climate"]]
        .set_index("site")
        .assign(
            open=still["panel"].nunique(),
            formulations=still["formulation"].nunique(),
            since=still["exposed_on"].min(),
            closed=hung[hung["closed_on"].notna()].groupby("site")["panel"].nunique(),
            visits=read.groupby("site")["on"].nunique(),
            last=read.groupby("site")["on"].max(),
        )
    )
    frame["days"] = (pd.Timestamp(today) - frame["last"]).dt.days
    whole = ["open", "formulations", "closed", "visits"]
    frame[whole] = frame[whole].fillna(0).astype(int)
    return frame.reset_index()


def by_series(exposure: Exposure, read: pd.DataFrame) -> pd.DataFrame:
    """One row a site and formulation: panels, exposed since, visits, last reading."""
    keys = ["site", "formulation"]
    grouped = panels(exposure).groupby(keys)
    known = read.groupby(keys)
    frame = pd.DataFrame(
        {
            "panels": grouped["panel"].nunique(),
            "open": grouped["closed_on"].apply(lambda days: int(days.isna().sum())),
            "since": grouped["exposed_on"].min(),
            "visits": known["on"].nunique(),
            "last": known["on"].max(),
            "months": known["months"].max(),
        }
    ).reset_index()
    frame["visits"] = frame["visits"].fillna(0).astype(int)
    roles = exposure.formulations[["formulation", "role"]]
    return frame.merge(roles, on="formulation", how="left")


def unread(exposure: Exposure) -> pd.DataFrame:
    """Open panels in the weather without any reading."""
    hung = panels(exposure)
    return hung[hung["closed_on"].isna() & ~hung["panel"].isin(exposure.readings["panel"].unique())]


def wide(projection: pd.DataFrame) -> pd.DataFrame:
    """A projection with the interval of a reading (`reading_lower`, `_upper`) beside the mean's."""
    keys = ["site", "formulation", "months"]
    of_reading = projection.loc[projection["target"] == "reading", [*keys, "lower", "upper"]]
    of_reading = of_reading.rename(columns={"lower": "reading_lower", "upper": "reading_upper"})
    return projection[projection["target"] == "state"].merge(of_reading, on=keys, how="left")


def told(curve: pd.DataFrame) -> pd.DataFrame:
    """A curve with `kind` (read or projected) and `interval` in words."""
    within = curve["months"] <= curve["observed_months"]
    return curve.assign(
        kind=within.map({True: wording.OBSERVED, False: wording.PROJECTED}),
        interval=curve["target"].map(wording.INTERVALS),
    )


def series(read: pd.DataFrame, site: str, formulation: str) -> pd.DataFrame:
    """Readings of one series; over sites only those of panels as exposed."""
    over_sites = read["surface_state"] == "as_exposed"
    mine = over_sites if site == "all" else read["site"] == site
    return read[mine & (read["formulation"] == formulation)]


def of(frame: pd.DataFrame, site: str, formulation: str) -> pd.DataFrame:
    """Rows of one series of a frame that tells of many."""
    return frame[(frame["site"] == site) & (frame["formulation"] == formulation)]


def days(read: pd.DataFrame) -> list[str]:
    """Days of reading, the latest first."""
    return sorted(read["on"].dt.date.astype(str).unique(), reverse=True)


def marks(read: pd.DataFrame, site: str, as_of: str | None) -> pd.DataFrame:
    """Readings of one series with what a chart marks them by, see `aging.charts.decay_chart`."""
    known = (read["on"] <= as_of) if as_of else pd.Series(data=True, index=read.index)
    names = read["site"] if site == "all" else read["surface_state"].map(wording.STATES)
    kind = known.map({True: wording.MEASURED, False: wording.READ_LATER})
    frame = read.assign(series=names, known=known, mark=kind + names)
    return frame.sort_values(["known", "series"], ascending=[False, True], kind="stable")


def in_words(shares: pd.DataFrame) -> pd.DataFrame:
    """Shares of one series with `interval` and `source` as a person reads them."""
    return shares.assign(
        interval=shares["target"].map(wording.INTERVALS), source=shares["source"].map(wording.FROM)
    )


def narrowing(found: pd.DataFrame) -> pd.DataFrame:
    """Remedies of one series side by side: percent of today's width left, mean and reading."""
    percent = found.assign(left=100 * found["width_factor"])
    keys = ["remedy", "amount"]
    table = percent.pivot_table(index=keys, columns="target", values="left").reset_index()
    names = [wording.remedy(*pair) for pair in table[keys].itertuples(index=False)]
    return table.assign(name=names).sort_values("state", kind="stable")


def in_order(frame: pd.DataFrame) -> pd.DataFrame:
    """Series that still run before those already measured; the mean over sites before sites."""
    place = {wording.ALREADY: 1, "all": -1}
    return frame.sort_values(
        ["status", "site"], key=lambda column: column.map(place).fillna(0), kind="stable"
    )


def of_pair(effects: pd.DataFrame, one: str, other: str) -> pd.DataFrame:
    """Rows of effects that tell of two additives together."""
    return effects[effects["effect"].isin([f"{one} x {other}", f"{other} x {one}"])]
