"""The product manager's first page: which claims hold, what would break them, what is due."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st

from aging.source import is_store
from dashboard import due, holding, parts, ways_words
from dashboard import hold_words as wording

opened = parts.source_or_help()
st.title(ways_words.HOLDING)
if not is_store(opened.source):
    st.text(wording.NEEDS_STORE)
    st.code(wording.STORE_COMMANDS, language=None)
    st.stop()
found = holding.watched(opened)
if not found:
    st.markdown(wording.NO_CLAIM)
    st.code(wording.CLAIM_COMMAND, language=None)
    st.stop()

states = [one.state for one in found]
parts.figures({label: str(states.count(state)) for state, label in wording.STATES.items()})
for one in found:
    with st.container(border=True):
        st.text(wording.claimed(one))
        st.text(wording.judged(one))
parts.same_numbers(
    holding.in_figures(found), wording.COLUMNS, decimals=3, months="%g", failing="%.0f"
)

st.header(wording.DUE_HEADING)
rows = holding.waited_for(found, opened, due.planned(opened, datetime.now(UTC).date()))
st.text(wording.next_due(rows))
if len(rows):
    parts.table(rows, wording.DUE_COLUMNS)
parts.cautions()
