"""How the numbers are made: equations, priors, sources, and what the intervals held."""

from __future__ import annotations

import streamlit as st

from aging.backtesting import measured as record
from aging.charts import courses_chart
from aging.climate.zones import WORDS
from aging.decay.priors import ANY
from aging.vocabulary import PROPERTIES
from dashboard import guide_words, methods, parts, state, wording

st.title(guide_words.METHODS)
st.markdown(guide_words.READING)
st.latex(guide_words.EQUATION)
parts.table(guide_words.terms(), guide_words.TERM_COLUMNS)
st.markdown(guide_words.HOW_FITTED)

name = state.choose(
    "property", wording.PROPERTY, [n for n, p in PROPERTIES.items() if p.scale != "ordinal"],
    default="solar_reflectance", show=lambda one: PROPERTIES[one].label,
)  # fmt: skip
prop = PROPERTIES[name]

st.header(guide_words.COURSES)
shares = methods.shares(prop)
statement = guide_words.courses(methods.reached(shares), prop)
parts.chart(courses_chart(shares, description=statement), statement)
parts.table(methods.courses(), guide_words.COURSE_COLUMNS)

st.header(guide_words.PRIORS)
st.markdown(guide_words.PRIORS_ARE)
climate = state.choose(
    "climate", guide_words.CLIMATE, [ANY, *WORDS], default=ANY, show=guide_words.climate
)
parts.table(methods.priors(prop, climate), guide_words.PRIOR_COLUMNS, decimals=4)

st.header(guide_words.MEASURED)
found = record.measured()
st.markdown(guide_words.measured_are())
st.text(guide_words.measured_told(found))
held = methods.held(found)
parts.table(held, guide_words.held_columns(found["cut"].unique()), decimals=2)
with st.expander(wording.NUMBERS_HEADING):
    parts.table(found, guide_words.MEASURED_COLUMNS, decimals=2)

st.header(guide_words.TABLES)
st.markdown(guide_words.TABLES_ARE)
for key, frame in methods.rules().items():
    with st.expander(guide_words.TABLE_NAMES[key]):
        st.dataframe(frame, hide_index=True)
parts.cautions()
