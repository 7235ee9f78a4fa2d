"""A short text for each thing that people come to do, and the reference of the commands."""

from __future__ import annotations

import streamlit as st

from dashboard import guide_words, state

st.title(guide_words.HELP)
names = list(guide_words.GUIDES)
name = state.choose(
    "guide", guide_words.WHICH, names, default=names[0], show=guide_words.GUIDES.__getitem__
)
text = guide_words.guide(name)
if name != "commands":
    st.markdown(text)
    st.stop()
for heading, part in guide_words.sections(text).items():
    if not heading:
        st.markdown(part)
        continue
    with st.expander(heading):
        st.markdown(part)
