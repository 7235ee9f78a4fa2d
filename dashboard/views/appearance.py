"""Colour of one formulation as it looks and as it moved; ratings of its trial, never averaged."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from aging.charts import colour_track_chart, rating_strip_chart, swatch_chart
from aging.errors import AgingError
from aging.vocabulary import PROPERTIES
from dashboard import appearance, data, look_wording, parts, state, wording

opened = parts.source_or_help()
st.title(wording.APPEARANCE)
known, notes = data.appearances(opened)
if known.empty:
    st.text(look_wording.NO_APPEARANCE)
    st.stop()

left, middle, right = st.columns(3)
with left:
    sites = sorted(set(known["site"]))
    site = state.choose("site", wording.SITE, sites, default=sites[0])
with middle:
    days = sorted({f"{day:%Y-%m-%d}" for day in known.loc[known["site"] == site, "trial"]})
    day = state.choose("trial", look_wording.TRIAL, days, default=days[-1])
trial = pd.Timestamp(day)
rows = appearance.of_trial(known, site, trial)
with right:
    names = sorted(set(rows["formulation"]))
    formulation = state.choose("formulation", wording.FORMULATION, names, default=names[0])

looks = appearance.looks(rows[rows["formulation"] == formulation])
swatches = appearance.swatches(looks.visits)
st.header(look_wording.COLOUR_HEADING)
if swatches.empty:
    st.text(look_wording.NO_COLOUR)
else:
    statement = look_wording.swatches(swatches, formulation, site)
    parts.chart(swatch_chart(swatches, description=statement), statement)
    st.markdown(look_wording.NO_SCREEN)

tracks = [name for name in appearance.TRACKS if looks.visits[name].notna().any()]
if tracks:
    st.header(look_wording.TRACKS_HEADING)
    st.text(look_wording.conditions(looks.conditions) if looks.conditions else looks.fault)
    for place, name in enumerate(tracks):
        if place % 2 == 0:
            columns = st.columns(2)
        with columns[place % 2]:
            statement, title = (
                look_wording.track(looks.visits, name),
                look_wording.TRACK_TITLES[name],
            )
            figure = colour_track_chart(
                looks.panels, looks.visits, name, title=title, description=statement
            )
            parts.chart(figure, statement)
    parts.table(looks.visits, look_wording.COLOUR_COLUMNS, decimals=2, months="%.1f")
    st.markdown(look_wording.HOW_COLOUR)

st.header(look_wording.RATINGS_HEADING)
rated = [name for name in appearance.RATED if (rows["property"] == name).any()]
if not rated:
    st.text(look_wording.NO_RATINGS)
    st.stop()
name = state.choose(
    "rating", look_wording.RATING, rated, default=rated[0], show=lambda n: PROPERTIES[n].label
)
prop = PROPERTIES[name]
try:
    ratings = appearance.ratings(rows, name)
    trends = data.judged(opened, site, trial, name)
except AgingError as error:
    st.warning(look_wording.CANNOT_RATE)
    st.text(str(error))
    st.stop()
cells, panels = appearance.strips(ratings)
statement = look_wording.rated(cells, prop, ratings.method, site)
parts.chart(rating_strip_chart(cells, panels, prop, description=statement), statement)

st.header(look_wording.TREND_HEADING)
st.text(look_wording.trends(trends))
parts.table(appearance.in_words(trends), look_wording.TREND_COLUMNS, decimals=2, superiority="%.0f")
st.markdown(look_wording.HOW_RATINGS)
st.header(wording.NUMBERS_HEADING)
parts.table(cells, look_wording.CELL_COLUMNS, decimals=prop.decimals, months="%.1f")
parts.notes(notes)
