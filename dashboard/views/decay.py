"""One formulation at one site: its readings, its curve with two bands, and its projection."""

from __future__ import annotations

from math import ceil

import streamlit as st

from aging.charts import decay_chart, quantity
from dashboard import data, parts, state, tables, wording

opened = parts.source_or_help()
st.title(wording.DECAY)
chosen = parts.settings(opened)
prop, months, level = chosen.prop, chosen.months, chosen.level

read = data.readings(opened).query("property == @prop.name")
last = max(months, ceil(read["months"].max()))
with parts.explained():
    projection = data.projected(opened, prop.name, tuple(range(last + 1)), level)
frame = projection.frame

every = tables.in_order(tables.wide(frame[frame["months"] == months]))
left, right = st.columns(2)
with left:
    sites = ["all", *sorted(set(frame["site"]) - {"all"})]
    site = state.choose("site", wording.SITE, sites, default="all", show=wording.site)
with right:
    offered = list(every.loc[every["site"] == site, "formulation"])
    formulation = state.choose("formulation", wording.FORMULATION, offered, default=offered[0])

curve = frame[(frame["site"] == site) & (frame["formulation"] == formulation)]
value = every[(every["site"] == site) & (every["formulation"] == formulation)].iloc[0]
statement = wording.projection(value, prop)

st.subheader(wording.headline(value, quantity(prop)))
percent = wording.percent(level)
parts.figures({
    wording.MEAN: wording.number(value["estimate"], prop),
    wording.BAND.format(level=percent): wording.interval(value, prop),
    wording.WIDE_BAND.format(level=percent): wording.interval(value, prop, "reading_"),
})  # fmt: skip
st.text(wording.status(value))

read = read[read["panel"].isin(data.fitted_panels(opened, prop.name, formulation))]
marks = tables.marks(read, site, formulation)
figure = decay_chart(curve, marks, prop, at=months, description=statement)
parts.chart(figure, statement)

st.subheader(wording.NUMBERS_HEADING)
steps = tables.wide(curve[(curve["months"] % 6 == 0) | (curve["months"] == months)])
within = steps["months"] <= steps["observed_months"]
steps["kind"] = within.map({True: wording.OBSERVED, False: wording.PROJECTED})
parts.table(steps, wording.CURVE_COLUMNS, decimals=prop.decimals, months="%d")

st.subheader(wording.EVERY_SERIES.format(months=months))
parts.table(
    every.assign(site=every["site"].map(wording.site)),
    wording.PROJECTION_COLUMNS, decimals=prop.decimals, observed_months="%.1f",
)  # fmt: skip
parts.notes(projection.notes)
with st.expander(wording.SOURCES_HEADING):
    parts.table(projection.priors, wording.PRIOR_COLUMNS, decimals=4)
parts.cautions()
