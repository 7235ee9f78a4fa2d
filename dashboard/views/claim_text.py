"""A text, with the expressions marked that no evidence carries."""

from __future__ import annotations

import streamlit as st

from aging.claims import examine
from aging.claims.words import WORDS
from dashboard import claim_words as wording
from dashboard import claims_case_words as case_words
from dashboard import claims_parts, parts

st.title(wording.TEXT)
st.text(case_words.TEXT_IS)
text = st.text_area(case_words.PASTE, key="text to check", height=180, max_chars=20_000)
st.button(case_words.CHECK, type="primary")  # a tap on it commits the text
if text:
    claims_parts.hits(text, examine(text))
with st.expander(case_words.EXPRESSIONS):
    parts.table(WORDS, case_words.EXPRESSION_COLUMNS)
