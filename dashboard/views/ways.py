"""The first page: what people come to do, each a way to the page that answers it first."""

from __future__ import annotations

import streamlit as st

from dashboard import keeping_words, log_words, parts, ways_words, wording

WAYS = {
    "visit": {
        "due": ways_words.DUE, "log": log_words.TITLE, "doubts": keeping_words.DOUBTS,
    },
    "judge": {
        "leading": ways_words.LEADING, "compare": wording.COMPARE, "decay": wording.DECAY,
    },
    "claim": {"holding": ways_words.HOLDING},
    "keep": {"overview": wording.OVERVIEW},
}  # fmt: skip

parts.source_or_help()
st.title(ways_words.WAYS_HEADING)
for pair in (list(WAYS)[:2], list(WAYS)[2:]):
    for column, section in zip(st.columns(2), pair, strict=True):
        with column.container(border=True):
            st.header(ways_words.SECTIONS[section])
            st.text(ways_words.ASKED[section])
            for view, label in WAYS[section].items():
                st.page_link(f"views/{view}.py", label=label)
