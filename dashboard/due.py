"""What the technician's first page shows: the plan of visits, doubts by gravity, last visits."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import pandas as pd
import streamlit as st

from aging.cube import moments
from aging.fieldwork.plan import visit_plan
from dashboard import data, keeping, keeping_words, wording

NOW, AHEAD = ("overdue", "due"), "to come"


@st.cache_resource(show_spinner=wording.READING, max_entries=4, hash_funcs=keeping.BY_SOURCE)
def planned(opened: data.Opened, today: date) -> pd.DataFrame:
    """Every planned visit with what became of it, see `aging.fieldwork.plan.visit_plan`."""
    return visit_plan(opened.exposure, pd.Timestamp(today))


def open_now(plan: pd.DataFrame) -> pd.DataFrame:
    """Visits to make now, the overdue first."""
    rows = plan[plan["state"].isin(NOW)]
    return rows.sort_values("state", key=lambda one: one.map(NOW.index), kind="stable")


def doubted(opened: data.Opened) -> pd.DataFrame:
    """Open doubts, the gravest first: severity in words, visit, panel, what, action."""
    found = keeping.checked(opened).open
    grave = list(keeping_words.SEVERITIES)
    rows = found.groupby("finding", sort=False).agg(
        severity=("severity", "first"), site=("site", "first"), read_on=("read_on", "max"),
        panel=("panel", keeping_words.panels), what=("what", "first"), action=("action", "first"),
    )  # fmt: skip
    rows = rows.sort_values("read_on", ascending=False).sort_values(
        "severity", key=lambda one: one.map(grave.index), kind="stable"
    )
    day = rows["read_on"].str[:10].fillna(keeping_words.NO_VISIT)
    return rows.assign(
        visit=rows["site"] + ", " + day, severity=rows["severity"].map(keeping_words.SEVERITIES)
    )


def last_visits(read: pd.DataFrame, most: int) -> pd.DataFrame:
    """The latest visits of all sites: site, day, panels and readings."""
    visits = read.assign(on=read["on"].dt.normalize()).groupby(["site", "on"], as_index=False)
    told = visits.agg(panels=("panel", "nunique"), readings=("panel", "size"))
    return told.sort_values("on", ascending=False).head(most)


def waited_for(
    claimed: Sequence[tuple[str, str]], panels: pd.DataFrame, plan: pd.DataFrame
) -> pd.DataFrame:
    """The next visit at each site of claimed formulations (formulation, site), with their names."""
    hung = panels[["formulation", "site", "exposed_on"]].drop_duplicates()
    mine = hung.merge(pd.DataFrame(claimed, columns=["formulation", "site"]).drop_duplicates())
    mine["exposed_on"] = moments(mine["exposed_on"]).dt.normalize()
    ahead = plan[plan["state"].isin([*NOW, AHEAD])].merge(mine, on=["site", "exposed_on"])
    keys = ["site", "exposed_on", "due_on", "opens_on", "months", "state"]
    each = ahead.groupby(keys)["formulation"].agg(lambda names: ", ".join(sorted(set(names))))
    rows = each.rename("formulations").reset_index().sort_values("due_on", kind="stable")
    return rows.drop_duplicates("site")
