"""A panel's whole story: what befell it, what was read on it, what of that counts and why not."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from aging.charts import panel_story_chart
from aging.charts.panel_story import ODD
from aging.cube import moments
from aging.fieldwork.photos import across_visits, file_of
from aging.fieldwork.story import COUNTS, LEFT_OUT, REPLACED
from aging.source import is_store
from aging.vocabulary import PROPERTIES, property_named
from dashboard import data, entry, keeping, parts, state
from dashboard import keeping_words as wording


def photographs(opened: data.Opened, panel: str) -> None:
    """Photos of the panel across its visits."""
    folder = keeping.known(opened).photos
    rows = across_visits(opened.exposure.photos, panel)
    if folder is None or rows.empty:
        return
    st.header(wording.PHOTOS_HEADING)
    for column, row in zip(st.columns(len(rows)), rows.itertuples(index=False), strict=True):
        file = file_of(folder, row.photo)
        column.text(row.taken_on[:10])
        if file.is_file():
            column.image(str(file), alt=f"{panel}, {row.taken_on[:10]}")
        else:
            column.text(wording.NO_FILE)


def correction(opened: data.Opened, rows: pd.DataFrame) -> None:
    """A form that gives one reading another value."""
    places = list(rows.index[::-1])
    with st.expander(wording.CORRECT_HEADING), st.form("correct"):
        place = st.selectbox(
            wording.READING, places, key="corrected",
            format_func=lambda one: wording.reading(rows.loc[one]),
        )  # fmt: skip
        left, right = st.columns(2)
        value = left.number_input(wording.NEW_VALUE, value=None, format="%.3f", key="new value")
        by = keeping.by(right, "by corrected")
        reason = st.text_input(wording.REASON, key="why corrected")
        if st.form_submit_button(wording.CORRECT, key="correct it"):
            reading = rows.loc[place, "reading_id"]
            keeping.store(lambda: keeping.correct(opened, reading, value, reason=reason, by=by), by)


opened = parts.source_or_help()
st.title(wording.STORY)
keeping.done()
left, right = st.columns(2)
with left:
    panels = sorted(opened.exposure.panels["panel"])
    panel = state.choose("panel", wording.PANEL, panels, default=panels[0])
told = keeping.told(opened, panel)
rows = told.readings
parts.figures({
    wording.MOUNTED: told.facts["exposed_on"],
    wording.COUNTED: str((rows["standing"] == COUNTS).sum()),
    wording.LEFT_OUT: str((rows["standing"] == LEFT_OUT).sum()),
    wording.ASKED: str((told.entries["kind"] == "doubted").sum()),
})  # fmt: skip

if rows.empty:
    st.text(wording.NOT_READ)
else:
    with right:
        names = [name for name in PROPERTIES if (rows["property"] == name).any()]
        name = state.choose("of", wording.PROPERTY, names, default=names[0],
                            show=lambda one: PROPERTIES[one].label)  # fmt: skip
    prop = property_named(name)
    mine = rows[rows["property"] == name]
    doubted = keeping.checked(opened).open["reading_id"].dropna()
    odd = mine["reading_id"].isin(doubted) & (mine["standing"] != REPLACED)
    marked = mine.assign(at=moments(mine["read_on"]), panel=panel,
                         standing=mine["standing"].mask(odd, ODD))  # fmt: skip
    befell = keeping.events(opened, told.facts["site"], marked)
    statement = wording.story(panel, prop, mine)
    parts.chart(panel_story_chart(marked, befell, prop, description=statement), statement)

photographs(opened, panel)
st.header(wording.STORY_HEADING)
parts.table(told.entries, wording.ENTRY_COLUMNS)
if len(rows):
    st.header(wording.READINGS_HEADING)
    parts.table(wording.in_words(rows), wording.READ_COLUMNS)
    if is_store(opened.source) and entry.may("settle"):
        correction(opened, rows[rows["standing"] != REPLACED])
