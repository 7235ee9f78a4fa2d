"""What the pages of doubts, of a panel's story and of instruments show, and how they store.

Checks are kept by the source's mark, so that a decision is seen on the next run. A decision is held
to the store as it is by then: what another person settled meanwhile is not settled again.
"""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from aging.charts.panel_story import ODD
from aging.checks import OPEN, Checked, check, own_limits, settle
from aging.claims import watch, watch_line
from aging.cube import moments
from aging.errors import AgingError, CallError, require
from aging.fieldwork.report import visit_report
from aging.fieldwork.report_pages import as_html, as_pdf
from aging.fieldwork.story import (
    LEFT_OUT,
    OWN_SERIES,
    Kept,
    Story,
    ever_read,
    kept,
    standings,
    story,
)
from aging.instruments import check_instruments
from aging.projection import gather
from aging.projection.gathering import priors_by_zone
from aging.vocabulary import property_named
from dashboard import data, entry
from dashboard import keeping_words as wording

MOST_PANELS = 24
BY_SOURCE = {data.Opened: data.key_of}


@st.cache_resource(show_spinner=wording.LOOKING, max_entries=4, hash_funcs=BY_SOURCE)
def checked(opened: data.Opened, *, projection: bool = False) -> Checked:
    """What the rules doubt, by the source's own limits."""
    gathered = gather(opened.exposure) if projection else None
    return check(opened.exposure, gathered=gathered, limits=own_limits(opened.source))


@st.cache_resource(show_spinner=False, max_entries=4, hash_funcs=BY_SOURCE)
def known(opened: data.Opened) -> Kept:
    """What the store keeps of corrections and decisions."""
    return kept(opened.source, opened.exposure)


@st.cache_resource(show_spinner=False, max_entries=32, hash_funcs=BY_SOURCE)
def told(opened: data.Opened, panel: str) -> Story:
    """The story of a panel."""
    return story(opened.exposure, panel, known(opened), checked(opened))


@st.cache_resource(show_spinner=False, max_entries=16, hash_funcs=BY_SOURCE)
def _standings(opened: data.Opened, site: str) -> pd.Series:
    return standings(opened.exposure, site)


def visits(doubts: pd.DataFrame) -> pd.Series:
    """Number of findings of each visit, the latest first; the index is site and day."""
    days = doubts["read_on"].str[:10].fillna(wording.NO_VISIT)
    key = doubts["site"] + ", " + days
    table = doubts.assign(key=key, day=days).groupby(["day", "key"])["finding"].nunique()
    return table.sort_index(ascending=False).droplevel("day")


def of_visit(doubts: pd.DataFrame, key: str) -> pd.DataFrame:
    """Findings of one visit, as `visits` names it."""
    days = doubts["read_on"].str[:10].fillna(wording.NO_VISIT)
    return doubts[doubts["site"] + ", " + days == key]


def history(opened: data.Opened, part: pd.DataFrame) -> pd.DataFrame:
    """Readings of a finding's panels, its own marked, as `charts.panel_story_chart` draws them."""
    panels, site = part["panel"].dropna().unique()[:MOST_PANELS], str(part["site"].iloc[0])
    rows = opened.exposure.readings
    mine = rows["panel"].isin(panels) & (rows["property"] == part["property"].iloc[0])
    rows = rows[mine].assign(at=moments(rows.loc[mine, "read_on"]))
    why = rows["reading_id"].map(_standings(opened, site))
    washed = (why == "") & (rows["surface_state"] != "as_exposed")
    standing = pd.Series("counts", index=rows.index).mask(why != "", LEFT_OUT)
    standing = standing.mask(washed, rows["surface_state"].map(OWN_SERIES))
    odd = rows["reading_id"].isin(part["reading_id"])
    return rows.assign(why=why, standing=standing.mask(odd, ODD))


def events(opened: data.Opened, site: str, read: pd.DataFrame) -> pd.DataFrame:
    """Events between the readings of panels: theirs (`own`), then those of their site."""
    rows = opened.exposure.events.assign(at=moments(opened.exposure.events["on"]))
    rows = rows[rows["at"].between(read["at"].min().normalize(), read["at"].max())]
    rows["own"] = rows["panel"].isin(read["panel"])
    rows = rows[rows["own"] | (rows["panel"].isna() & (rows["site"] == site))]
    rows = rows.rename(columns={"kind": "event"}).sort_values("own", ascending=False)
    return rows[["at", "event", "own"]]


def settlements(opened: data.Opened) -> pd.DataFrame:
    """Every decision, the latest first, with panel and day of its reading."""
    log = known(opened).settlements
    if log.empty:
        log = opened.exposure.settlements.assign(recorded_at=None, recorded_by=None)
    ever = ever_read(opened.exposure, known(opened))
    rows = log.merge(ever[["reading_id", "panel", "read_on"]], on="reading_id", how="left")
    rows = rows.assign(finding=rows["finding"].str.split("/").str[0], order=range(len(rows)))
    together = rows.groupby(["finding", "recorded_at"], dropna=False, sort=False)
    first = together.first().assign(panel=together["panel"].agg(wording.panels))
    first = first.reset_index().sort_values("order", ascending=False)
    return wording.settled(first.assign(recorded_at=first["recorded_at"].astype("str").str[:16]))


def reopenable(opened: data.Opened) -> list[str]:
    """Findings that were confirmed or excluded last."""
    last = opened.exposure.settlements
    last = last[last["decision"].isin(["confirmed", "excluded"])]
    return last["finding"].str.split("/").str[0].drop_duplicates().tolist()


def decide(
    opened: data.Opened, finding: str, decision: str, *, reason: str, by: str,
    value: float | None = None, projection: bool = False,
) -> None:  # fmt: skip
    """Settle a finding, unless it has been settled since the page was drawn; AgingError if not."""
    now = data.opened(opened.source)
    found = checked(now, projection=projection)
    rows = found.frame[found.frame["finding"] == finding]
    if decision != "reopened" and not (rows["state"] == OPEN).any():
        raise CallError(f"finding {finding}: it was settled meanwhile; look at it below")
    with entry.doing(opened.source, "settle", finding) as book:
        settle(book, found, finding, decision, reason=reason, by=by, value=value)


def correct(
    opened: data.Opened, reading_id: str, value: float | None, *, reason: str, by: str
) -> None:
    """Correct one reading; AgingError where it cannot be."""
    require(value is not None, "value", value, "the value it should have been")
    with entry.doing(opened.source, "settle", reading_id) as book:
        book.correct(reading_id, value, by=by, reason=reason)


def by(column: DeltaGenerator, key: str) -> str:
    """Who decides: the person signed in, else as typed."""
    if signed_in := entry.name():
        column.text(f"{wording.BY}: {signed_in}")
        return signed_in
    return column.text_input(wording.BY, st.session_state.get("decides", ""), key=key)


def store(act: Callable[[], None], by: str) -> None:
    """Do it and draw the page anew, or say in words why not."""
    try:
        act()
    except AgingError as error:
        st.text(str(error))
        return
    st.session_state["decides"], st.session_state["done"] = by, True
    st.rerun()


def done() -> None:
    """Say once that something was stored."""
    if st.session_state.pop("done", False):
        st.success(wording.DONE)


def reporter(opened: data.Opened) -> Callable[[str, str, str], bytes]:
    """A function of site, day and form (html, pdf) that makes a report without asking the page."""
    kept_there, found = known(opened), checked(opened)

    def report(site: str, on: str, form: str) -> bytes:
        claims = tuple(map(watch_line, watch(opened.exposure)))
        told = visit_report(
            opened.exposure, site, on, known=kept_there, checked=found, watch=claims
        )
        return as_pdf(told) if form == "pdf" else as_html(told).encode()

    return report


@st.cache_resource(show_spinner=False, max_entries=4, hash_funcs=BY_SOURCE)
def days(opened: data.Opened) -> dict[str, list[str]]:
    """Days on which each site was read outdoors, the latest first."""
    rows = opened.exposure.readings
    rows = rows[rows["evidence"].isna() | (rows["evidence"] == "outdoor")]
    site = rows["panel"].map(opened.exposure.panels.set_index("panel")["site"])
    by_site = rows["read_on"].str[:10].groupby(site).unique()
    return {str(name): sorted(some, reverse=True) for name, some in by_site.items()}


@st.cache_resource(show_spinner=False, max_entries=8, hash_funcs=BY_SOURCE)
def drifts(opened: data.Opened, prop: str) -> pd.DataFrame:
    """What the projection takes off readings of a property: instrument, day, offset, by day."""
    exposure = opened.exposure
    priors = priors_by_zone(exposure, property_named(prop), "month", None)
    told = check_instruments(exposure, prop, next(iter(priors.values()))).exposure.readings
    rows = exposure.readings.assign(offset=exposure.readings["value"] - told["value"])
    rows = rows[(rows["property"] == prop) & rows["instrument"].notna() & (rows["offset"] != 0)]
    rows = rows.assign(day=moments(rows["read_on"]).dt.normalize())
    return rows.groupby(["instrument", "day"], as_index=False)["offset"].mean().sort_values("day")
