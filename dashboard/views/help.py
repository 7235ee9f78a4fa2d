"""A short text for each thing that people come to do, and the reference of the commands."""

from __future__ import annotations

import streamlit as st

from dashboard import guide_words, state

st.title(guide_words.HELP)
names = list(guide_words.GUIDES)
name = state.choose(
    "guide", guide_words.WHICH, names, default=names[0], show=guide_words.GUIDES.__getitem__
)
if name != "commands":
    st.markdown(guide_words.guide(name))
    st.stop()
st.markdown(guide_words.COMMANDS_ARE)
for command in guide_words.commands():
    with st.expander(guide_words.call(command)):
        st.markdown(guide_words.options(command))
