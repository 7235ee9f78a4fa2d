"""One formulation at one site: its readings, its fan, what widens it and how it moved."""

from __future__ import annotations

import streamlit as st

from aging.charts import movement_chart
from dashboard import data, decay_parts, parts, past, state, tables, wording

opened = parts.source_or_help()
st.title(wording.DECAY)
chosen = parts.settings(opened)
prop, months, level = chosen.prop, chosen.months, chosen.level

with parts.explained():
    newest = data.every_series(opened, prop.name, months, level)
left, middle, right = st.columns(3)
with left:
    sites = ["all", *sorted(set(newest["site"]) - {"all"})]
    site = state.choose("site", wording.SITE, sites, default="all", show=wording.site)
with middle:
    offered = list(dict.fromkeys(newest.loc[newest["site"] == site, "formulation"]))
    formulation = state.choose("formulation", wording.FORMULATION, offered, default=offered[0])
with right:
    read = data.read_of(opened, prop.name, site, formulation)
    days = [wording.EVERYTHING, *tables.days(read)[1:]]
    day = state.choose("as_of", wording.AS_OF, days, default=wording.EVERYTHING)
    as_of = None if day == wording.EVERYTHING else day

with parts.explained():
    data.every_series(opened, prop.name, months, level, as_of)
decay_parts.one_series(
    opened, prop.name, months, level, site=site, formulation=formulation, as_of=as_of
)
decay_parts.every_series(opened, prop.name, months, level, as_of)
parts.cautions()

# last, as it fits once for every past visit and the page need not wait for it
st.header(wording.MOVED_HEADING.format(months=months))
moved = past.moved(
    opened, prop.name, parts.MONTHS, level, formulation,
    asked=lambda: st.button(wording.WORK_OUT_MOVED, help=wording.MOVED_TAKES),
)  # fmt: skip
if moved is not None:
    moved = tables.of(moved, site, formulation).query("months == @months and target == 'reading'")
    statement = wording.moved(moved, prop)
    if len(moved):
        parts.chart(movement_chart(moved, prop, description=statement), statement)
        of = wording.values(prop, wording.PROJECTED, level)
        parts.same_numbers(moved, wording.MOVED_COLUMNS, of=of, decimals=prop.decimals)
    else:
        st.text(statement)
