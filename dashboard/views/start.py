"""Where readings come from: what is open, the sample, a new trial, files that are there."""

from __future__ import annotations

import streamlit as st

from dashboard import start_parts
from dashboard import start_words as words

st.title(words.SOURCE)
start_parts.ways_in()
