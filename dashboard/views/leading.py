"""Landing page, being built."""

from __future__ import annotations

import streamlit as st

from dashboard import parts, ways_words

opened = parts.source_or_help()
st.title(ways_words.LEADING)
