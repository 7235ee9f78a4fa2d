"""One panel's spectra, new and aged, over the sun's; and what each band brings to the loss."""

from __future__ import annotations

import streamlit as st

from aging.charts import band_loss_chart, spectra_chart
from aging.optics.solar import WEIGHTINGS
from dashboard import data, look_wording, parts, spectra, state, wording

opened = parts.source_or_help()
st.title(wording.SPECTRA)
measured = data.measured(opened)
if measured.empty:
    st.text(look_wording.NO_SPECTRA)
    st.markdown(look_wording.SPECTRA_WILL_SHOW)
    st.code(look_wording.ADD_SPECTRA, language=None)
    st.stop()

boxes = st.columns(3)
for box, column, label in zip(
    boxes,
    ("site", "formulation", "panel"),
    (wording.SITE, wording.FORMULATION, look_wording.PANEL),
    strict=True,
):
    with box:
        offered = sorted(set(measured[column]))
        value = state.choose(column, label, offered, default=offered[0])
    measured = measured[measured[column] == value]
left, right = st.columns(2)
with left:
    weightings = list(WEIGHTINGS)
    weighting = state.choose("weighting", look_wording.WEIGHTING, weightings, default=weightings[0])
found = spectra.reduced(measured, weighting)
first, later = spectra.first_and_later(found)
aged = None
if len(later):
    with right:
        names = dict(zip(later["spectrum"], later["name"], strict=True))
        default = spectra.latest(later)["spectrum"]
        name = state.choose("aged", look_wording.AGED, list(names), default=default, show=names.get)
    aged = later[later["spectrum"] == name].iloc[0]

shown = spectra.overlaid(found, *({first["visit"], aged["visit"]} if aged is not None else ()))
statement = look_wording.spectra(shown, first, aged)
lines, light = spectra.drawn(shown), spectra.sun(weighting)
figure = spectra_chart(lines, light, weighting=weighting, description=statement)
parts.chart(figure, statement)

st.header(look_wording.BANDS_HEADING)
if aged is None:
    st.text(look_wording.ONE_SPECTRUM)
else:
    lost = spectra.lost(first, aged, weighting)
    statement = look_wording.bands(lost)
    parts.chart(band_loss_chart(lost, description=statement), statement)
    percent = lost.assign(share=100 * lost["share"], part=100 * lost["part"])
    parts.table(percent, look_wording.BAND_COLUMNS, decimals=3, share="%.2f", part="%.0f")

st.header(wording.NUMBERS_HEADING)
parts.table(found, look_wording.SPECTRUM_COLUMNS, decimals=3)
