"""Navigation only: which pages there are and in what order."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard import keeping_words, log_words, wording

ICON = Path(__file__).with_name("icon.svg")

st.set_page_config(page_title=wording.TITLE, page_icon=str(ICON), layout="wide")
st.navigation(
    [
        st.Page("views/overview.py", title=wording.OVERVIEW, default=True),
        st.Page("views/log.py", title=log_words.TITLE, url_path="log"),
        st.Page("views/doubts.py", title=keeping_words.DOUBTS, url_path="doubts"),
        st.Page("views/story.py", title=keeping_words.STORY, url_path="story"),
        st.Page("views/instruments.py", title=keeping_words.INSTRUMENTS, url_path="instruments"),
        st.Page("views/decay.py", title=wording.DECAY, url_path="decay"),
        st.Page("views/compare.py", title=wording.COMPARE, url_path="compare"),
        st.Page("views/additives.py", title=wording.ADDITIVES, url_path="additives"),
        st.Page("views/spectra.py", title=wording.SPECTRA, url_path="spectra"),
        st.Page("views/appearance.py", title=wording.APPEARANCE, url_path="appearance"),
        st.Page("views/scores.py", title=wording.SCORES, url_path="scores"),
    ],
    position="top",
).run()
