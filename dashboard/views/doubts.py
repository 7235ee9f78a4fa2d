"""Readings that ask for a second look, visit by visit, and how each was settled."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from aging.charts import panel_story_chart
from aging.source import is_store
from aging.vocabulary import property_named
from dashboard import data, entry, keeping, parts, state
from dashboard import keeping_words as wording
from dashboard.wording import values

FIRST = 10


def drawn(opened: data.Opened, part: pd.DataFrame) -> None:
    """The history of a finding's panels, where it is about readings."""
    rows = keeping.history(opened, part)
    if rows.empty:
        return
    prop = property_named(str(part["property"].iloc[0]))
    shown, count = rows["panel"].nunique(), part["panel"].nunique()
    if count > shown:
        st.text(wording.SOME_PANELS.format(shown=shown, count=count))
    befell = keeping.events(opened, str(part["site"].iloc[0]), rows)
    statement = wording.history(part, prop)
    parts.chart(panel_story_chart(rows, befell, prop, description=statement), statement)
    parts.same_numbers(rows, wording.HISTORY_COLUMNS, of=values(prop, "measured"),
                       decimals=prop.decimals)  # fmt: skip


def form(opened: data.Opened, finding: str, part: pd.DataFrame, *, projection: bool) -> None:
    """Where a finding is settled."""
    ids = part["reading_id"].dropna()
    single = len(ids) == 1
    with st.form(f"settle {finding}"):
        decision = st.radio(
            wording.DECISION, wording.decisions(single=single, about=len(ids) > 0),
            format_func=wording.DECISIONS.__getitem__, horizontal=True, key=f"as {finding}",
        )  # fmt: skip
        if len(ids) > 1:
            st.text(wording.ONE_BY_ONE)
        left, right = st.columns(2)
        value = None
        if single:
            prop = property_named(part["property"].iloc[0])
            read = opened.exposure.readings.set_index("reading_id").loc[ids.iloc[0], "value"]
            value = left.number_input(
                wording.NEW_VALUE, *map(float, (prop.low, prop.high, read, prop.step)),
                format=f"%.{prop.decimals}f", key=f"value {finding}",
            )  # fmt: skip
        by = keeping.by(right, f"by {finding}")
        reason = st.text_input(wording.REASON, key=f"why {finding}")
        if st.form_submit_button(wording.SETTLE, key=f"do {finding}"):
            new = value if decision == "corrected" else None
            keeping.store(lambda: keeping.decide(opened, finding, decision, reason=reason, by=by,
                                         value=new, projection=projection), by)  # fmt: skip


opened = parts.source_or_help()
kept = is_store(opened.source)
st.title(wording.DOUBTS)
keeping.done()
projection = st.toggle(wording.ASK_PROJECTION, key="ask projection")
with parts.explained():
    doubts = keeping.checked(opened, projection=projection).open
counts = doubts.groupby("severity")["finding"].nunique().to_dict()
parts.figures(wording.doubts(counts))
if not kept:
    st.text(wording.NEEDS_STORE)
    st.code(wording.STORE_COMMANDS, language=None)

visits = keeping.visits(doubts)
if visits.empty:
    st.text(wording.NO_DOUBT)
else:
    keys = visits.index.tolist()
    chosen = state.choose(
        "visit", wording.VISIT, keys, default=keys[0],
        show=lambda key: wording.visit(key, int(visits[key])),
    )  # fmt: skip
    mine = keeping.of_visit(doubts, chosen)
    shown = mine["finding"].drop_duplicates().tolist()[:FIRST]
    for severity in wording.SEVERITIES:
        some = mine[(mine["severity"] == severity) & mine["finding"].isin(shown)]
        if len(some):
            st.header(wording.SEVERITIES[severity])
        for finding, part in some.groupby("finding", sort=False):
            with st.container(border=True):
                st.text(wording.doubt(part))
                drawn(opened, part)
                st.text(wording.action(part))
                names = part["panel"].dropna().unique()
                if len(names) == 1:
                    st.page_link("views/story.py", label=wording.STORY,
                                 query_params={"panel": names[0]})  # fmt: skip
                if kept and entry.may("settle"):
                    form(opened, str(finding), part, projection=projection)
    if visits[chosen] > FIRST:
        st.text(wording.MORE.format(count=visits[chosen] - FIRST))

st.header(wording.SETTLED_HEADING)
settled = keeping.settlements(opened)
if settled.empty:
    st.text(wording.NONE_SETTLED)
else:
    parts.table(settled, wording.SETTLED_COLUMNS)
again = keeping.reopenable(opened) if kept and entry.may("settle") else []
if again:
    names = settled.drop_duplicates("finding").set_index("finding")
    with st.form("reopen"):
        finding = st.selectbox(
            wording.REOPENED, again, key="reopened",
            format_func=lambda one: wording.decided(one, names.loc[one]),
        )  # fmt: skip
        left, right = st.columns(2)
        reason = left.text_input(wording.REASON, key="why reopened")
        by = keeping.by(right, "by reopened")
        if st.form_submit_button(wording.REOPEN, key="reopen it"):
            keeping.store(
                lambda: keeping.decide(opened, finding, "reopened", reason=reason, by=by), by
            )

read = keeping.days(opened)
if read:
    st.header(wording.REPORT_HEADING)
    left, right = st.columns(2)
    with left:
        site = state.choose("site", wording.SITE, list(read), default=next(iter(read)))
    with right:
        day = state.choose("day", wording.DAY, read[site], default=read[site][0])
    make = keeping.reporter(opened)
    labels = {"html": wording.REPORT_HTML, "pdf": wording.REPORT_PDF}
    for column, (kind, label) in zip(st.columns(2), labels.items(), strict=True):
        column.download_button(
            label, partial(make, site, day, kind), file_name=f"visit_{site}_{day}.{kind}",
            key=f"report {kind}",
        )  # fmt: skip
