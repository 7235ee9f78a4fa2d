"""Load files into a store: match a laboratory's headers, look at what would be stored, store it."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from aging.errors import AgingError
from aging.intake.uploads import ROUND
from dashboard import data, entry, load_parts, loading, start
from dashboard import load_words as words


def target() -> loading.Target:
    """The open store, or a new one; without either the page ends."""
    source = data.named_source()
    there = start.can_be_written(source)
    ways = [words.OPEN_STORE] * there + [words.NEW_STORE] * start.is_local()
    if not ways:
        st.text(words.NEEDS_STORE)
        st.stop()
    way = st.radio(words.INTO, ways, horizontal=True, key="load into")
    if way == words.OPEN_STORE:
        st.text(start.shown(source or ""))
        return loading.target_of(source or "")
    place = st.text_input(words.NEW_PLACE, start.free_place("exposure"), key="new store of load")
    return loading.Target(place, None)


def source() -> tuple[Path, str]:
    """What was brought, and its name; without anything the page ends."""
    files = st.file_uploader(
        words.FILES, ["csv", "xlsx", "xlsm", "zip", "json"], accept_multiple_files=True, key="files"
    )
    path = st.text_input(words.PATH, key="path to load").strip() if start.is_local() else ""
    if files:
        named = ", ".join(file.name for file in files)
        return loading.brought([(file.name, file.getvalue()) for file in files]), named
    if not path:
        st.stop()
    return Path(path).expanduser(), path


st.title(words.TITLE)
if told := st.session_state.pop(loading.STORED, None):
    st.success(words.DONE)
    st.text(told)
    st.page_link("views/overview.py", label=words.SEE)
    st.page_link("views/doubts.py", label=words.SEE_DOUBTS)
st.text(words.ABOUT)
try:
    into = target()
    found, name = source()
    tables = loading.tables(found)
    asked = [load_parts.matched(table, into, place) for place, table in enumerate(tables)]
    matchings = [one for one, _ in asked if one is not None]
    if not all(confirmed for _, confirmed in asked):
        st.text(words.CONFIRM_FIRST)
        st.stop()
    day_first = None
    if not tables and found.suffix != ROUND:  # a matching knows the order of its own dates
        order = st.selectbox(words.DATES, list(words.ORDERS), key="order of dates",
                             format_func=words.ORDERS.__getitem__)  # fmt: skip
        day_first = {"refuse": None, "day": True, "month": False}[order]
    seen = loading.looked_at(found, into, matchings, day_first=day_first)
except AgingError as error:
    st.text(loading.told_of(error))
    st.stop()
load_parts.preview(seen)
if not any(len(frame) for _, frame in seen.read.exposure.frames()):
    st.text(words.NO_ROWS)
    st.stop()
if not (seen.facts or len(seen.new)):
    st.text(words.NOTHING_NEW)
    st.stop()
by = entry.name() or st.text_input(words.BY, key="by of load")
if st.button(words.to_store(len(seen.new), seen.facts), type="primary"):
    try:
        loading.store(seen, into, matchings, by, name)
    except AgingError as error:
        st.text(str(error))
    else:
        st.rerun()
