"""The first page: what people come to do, each a way to the page that answers it first."""

from __future__ import annotations

import streamlit as st

from dashboard import (
    claim_words,
    entry,
    guide_words,
    keeping_words,
    log_words,
    parts,
    start_words,
    ways_words,
    wording,
)

WAYS = {
    "visit": {
        "due": ways_words.DUE, "log": log_words.TITLE, "doubts": keeping_words.DOUBTS,
    },
    "judge": {
        "leading": ways_words.LEADING, "compare": wording.COMPARE, "decay": wording.DECAY,
        "additives": wording.ADDITIVES,
    },
    "claim": {"holding": ways_words.HOLDING, "claim_new": claim_words.NEW},
    "keep": {
        "overview": wording.OVERVIEW, "load": start_words.TO_LOAD, "start": start_words.SOURCE,
    },
    "help": {"help": guide_words.HELP, "methods": guide_words.METHODS},
}  # fmt: skip

parts.source_or_help()
st.title(ways_words.WAYS_HEADING)
with st.container(horizontal=True):
    for section, views in WAYS.items():
        with st.container(border=True, width=400, height="stretch"):
            st.header(ways_words.SECTIONS[section])
            st.text(ways_words.ASKED[section])
            for view, label in views.items():
                if entry.opens(view):
                    st.page_link(f"views/{view}.py", label=label)
