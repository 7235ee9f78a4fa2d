"""Every claim: whether it holds, what would break it, and how past ones did. Trouble first."""

from __future__ import annotations

import streamlit as st

from aging.claims import card
from dashboard import claim_words as wording
from dashboard import claims, claims_parts, parts

FIRST = 5

opened = parts.source_or_help()
st.title(wording.CLAIMS)
claims_parts.need_store(opened)
with parts.explained():
    told = claims.watched(opened)
if not told:
    st.text(wording.NONE_YET)
    st.page_link("views/claim_new.py", label=wording.NEW)
    st.stop()

rows = claims.listed(opened)
parts.figures(wording.counts(rows["state"].tolist()))
each = {one.claim.claim: one for one in told}
worst = [each[name] for name in rows.loc[rows["order"] < len(wording.TROUBLE), "claim"]]
if worst:
    st.header(wording.TROUBLE_HEADING)
for one in worst[:FIRST]:
    with st.container(border=True):
        st.text(wording.trouble(one))
        st.page_link("views/claim.py", label=wording.OPEN_CLAIM,
                     query_params={"claim": one.claim.claim})  # fmt: skip
if len(worst) > FIRST:
    st.text(wording.MORE_TROUBLE.format(count=len(worst) - FIRST))

st.header(wording.ALL_HEADING)
st.text(wording.HOW_TO_OPEN)
chosen = claims_parts.pick(rows)
if chosen:
    st.switch_page("views/claim.py", query_params={"claim": chosen})
st.text(wording.HOW_TO_READ)
claims_parts.cautions()

st.header(wording.CARD_HEADING)
past, sentence = card(told)
st.text(sentence)
if len(past):
    parts.table(wording.past(past), wording.CARD_COLUMNS)
for view, label in (("claim_new", wording.NEW), ("claim_text", wording.TEXT)):
    st.page_link(f"views/{view}.py", label=label)
