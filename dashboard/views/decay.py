"""One formulation at one site: its readings, its fan, what widens it and how it moved."""

from __future__ import annotations

from math import ceil

import pandas as pd
import streamlit as st

from aging.charts import decay_chart, movement_chart, quantity, width_chart
from dashboard import data, parts, past, state, tables, wording

INNER = 0.5  # level of the inner band

opened = parts.source_or_help()
st.title(wording.DECAY)
chosen = parts.settings(opened)
prop, months, level = chosen.prop, chosen.months, chosen.level

with parts.explained():
    read = data.read(opened, prop.name)
    newest = data.every_series(opened, prop.name, months, level)
left, middle, right = st.columns(3)
with left:
    sites = ["all", *sorted(set(newest["site"]) - {"all"})]
    site = state.choose("site", wording.SITE, sites, default="all", show=wording.site)
with middle:
    offered = list(dict.fromkeys(newest.loc[newest["site"] == site, "formulation"]))
    formulation = state.choose("formulation", wording.FORMULATION, offered, default=offered[0])
read = read[read["panel"].isin(data.fitted_panels(opened, prop.name, formulation))]
read = tables.series(read, site, formulation)
with right:
    days = [wording.EVERYTHING, *tables.days(read)[1:]]
    day = state.choose("as_of", wording.AS_OF, days, default=wording.EVERYTHING)
    as_of = None if day == wording.EVERYTHING else day

mine = "site == @site and formulation == @formulation"
with parts.explained():
    projection = data.projected(opened, prop.name, (months,), level, as_of)
    every = data.every_series(opened, prop.name, months, level, as_of)
    value = every.query(mine).iloc[0]
    last = max(months, ceil(read["months"].max()))
    steps = {*range(min(12, last)), *range(12, last, 2), months, last, value["observed_months"]}
    fan = data.course(
        opened, prop.name, tuple(sorted(steps)), (level, INNER), (formulation,), as_of=as_of
    )
fan = fan.query(mine)
statement = wording.projection(value, prop, as_of)

st.header(wording.headline(value, quantity(prop)))
percent = wording.percent(level)
parts.figures({
    wording.MEAN: wording.number(value["estimate"], prop),
    wording.BAND.format(level=percent): wording.interval(value, prop),
    wording.WIDE_BAND.format(level=percent): wording.interval(value, prop, "reading_"),
})  # fmt: skip
st.text(wording.status(value))
if prop.derived_from:
    st.text(wording.MARKS_DERIVED)
figure = decay_chart(fan, tables.marks(read, site, as_of), prop, at=months, description=statement)
parts.chart(figure, statement)

# people wait for the chart: what follows is reckoned after it
if prop.name == "solar_reflectance" and pd.notna(value["estimate"]):
    heat = data.heat(opened, months, level, formulation, as_of)
    sun = heat.frame.query(mine).set_index(["property", "months"])
    st.header(wording.HEAT_HEADING.format(months=months))
    parts.figures(wording.in_the_sun(sun, months))
    st.text(wording.heat(sun, heat.emittances[formulation]))

if pd.notna(value["estimate"]):
    st.header(wording.WIDTH_HEADING.format(months=months))
    width = data.width(opened, prop.name, months, formulation, as_of)
    shares = tables.in_words(width.shares.query(mine))
    statement = wording.shares(shares)
    if prop.derived_from:
        st.text(wording.WIDTH_DERIVED)
    parts.chart(width_chart(shares, description=statement), statement)
    percents = shares.assign(percent=100 * shares["share"])
    parts.same_numbers(percents, wording.SHARE_COLUMNS)
    found = width.remedies.query(mine)
    if len(found):
        narrowing = tables.narrowing(found)
        st.text(wording.narrowing(narrowing))
        parts.table(narrowing, wording.REMEDY_COLUMNS)
        st.markdown(wording.HOW_NARROWED)

st.header(wording.NUMBERS_HEADING)
curve = fan[fan["level"] == level]
numbers = tables.wide(tables.told(curve[(curve["months"] % 6 == 0) | (curve["months"] == months)]))
parts.table(
    numbers, wording.CURVE_COLUMNS, of=wording.values(prop, wording.READ_OR_PROJECTED, level),
    decimals=prop.decimals, months="%d",
)  # fmt: skip

st.header(wording.EVERY_SERIES.format(months=months))
parts.table(
    every.assign(site=every["site"].map(wording.site)),
    wording.PROJECTION_COLUMNS, of=wording.values(prop, wording.READ_OR_PROJECTED, level),
    decimals=prop.decimals, observed_months="%.1f",
)  # fmt: skip

parts.notes(projection.notes)
with st.expander(wording.SOURCES_HEADING):
    parts.table(projection.priors, wording.PRIOR_COLUMNS, decimals=4)
parts.cautions()

# last, as it fits once for every past visit and the page need not wait for it
st.header(wording.MOVED_HEADING.format(months=months))
moved = past.moved(
    opened, prop.name, parts.MONTHS, level, formulation,
    asked=lambda: st.button(wording.WORK_OUT_MOVED, help=wording.MOVED_TAKES),
)  # fmt: skip
if moved is not None:
    moved = moved.query(mine).query("months == @months and target == 'reading'")
    statement = wording.moved(moved, prop)
    if len(moved):
        parts.chart(movement_chart(moved, prop, description=statement), statement)
        of = wording.values(prop, wording.PROJECTED, level)
        parts.same_numbers(moved, wording.MOVED_COLUMNS, of=of, decimals=prop.decimals)
    else:
        st.text(statement)
