"""Instruments: whose calibration is due, and what their tiles and file specimens say of them."""

from __future__ import annotations

from datetime import UTC, datetime

import pandas as pd
import streamlit as st

from aging.charts import control_chart
from aging.fieldwork import instrument_log
from aging.vocabulary import PROPERTIES
from dashboard import keeping, parts, state
from dashboard import keeping_words as wording
from dashboard.wording import values

opened = parts.source_or_help()
st.title(wording.INSTRUMENTS)
st.header(wording.CALIBRATION_HEADING)
log = instrument_log.calibrations(opened.exposure, pd.Timestamp(datetime.now(UTC).date()))
if log.empty:
    st.text(wording.NO_LOG)
else:
    st.text(wording.calibration(log))
    parts.table(log, wording.CALIBRATION_COLUMNS)

st.header(wording.CONTROL_HEADING)
names = [name for name, prop in PROPERTIES.items() if prop.scale != "ordinal"
         and (opened.exposure.readings["property"] == name).any()]  # fmt: skip
left, right = st.columns(2)
with left:
    name = state.choose("of", wording.PROPERTY, names, default=names[0],
                        show=lambda one: PROPERTIES[one].label)  # fmt: skip
prop = PROPERTIES[name]
control = instrument_log.control_chart(opened.exposure, name)
if control.empty:
    st.text(wording.NO_CONTROL)
    st.stop()
with right:
    known = sorted(control["instrument"].unique())
    instrument = state.choose("instrument", wording.INSTRUMENT, known, default=known[0])
rows = control[control["instrument"] == instrument]
statement = wording.control(rows, instrument, prop)
parts.chart(control_chart(rows, prop, description=statement), statement)
parts.same_numbers(rows, wording.CONTROL_COLUMNS, of=values(prop, "measured"),
                   decimals=prop.decimals + 1)  # fmt: skip
drifts = keeping.drifts(opened, name)
st.text(wording.drift(drifts[drifts["instrument"] == instrument], prop))
