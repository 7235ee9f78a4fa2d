"""Difference of each formulation to the control of its site, and over sites."""

from __future__ import annotations

import streamlit as st

from aging.charts import difference_chart
from dashboard import data, parts, state, tables, wording

opened = parts.source_or_help()
st.title(wording.COMPARE)
chosen = parts.settings(opened)
prop, months, level = chosen.prop, chosen.months, chosen.level

with parts.explained():
    comparison = data.compared(opened, prop.name, months, level)
frame = tables.in_order(comparison.frame.query("target == 'state'"))
against = frame[frame["site"] == "all"].set_index("formulation")["against"]
controls = list(dict.fromkeys(against))
if len(controls) > 1:
    control = state.choose("control", wording.CONTROL, controls, default=controls[0])
    frame = frame[frame["formulation"].map(against) == control]
st.subheader(wording.DIFFERENCES.format(months=months))
statement = wording.comparison(frame, prop)
parts.chart(difference_chart(frame, prop, description=statement), statement)

st.subheader(wording.NUMBERS_HEADING)
parts.table(
    frame.assign(site=frame["site"].map(wording.site)),
    wording.COMPARISON_COLUMNS, decimals=prop.decimals, sign="+", probability_better="%.2f",
)  # fmt: skip
parts.notes(comparison.notes)
parts.cautions()
