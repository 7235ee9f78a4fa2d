"""The product manager's first page: which claims hold, what would break them, what is due."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st

from dashboard import claim_words, claims, claims_parts, due, hold_words, parts, ways_words

FIRST = 8

opened = parts.source_or_help()
st.title(ways_words.HOLDING)
claims_parts.need_store(opened)
with parts.explained():
    every, over = claims.watched(opened), claims.ends(opened)
told = [one for one in every if one.claim.claim not in over]
told.sort(key=lambda one: list(claim_words.STATES).index(one.state))
if not told:
    st.text(hold_words.NONE_STANDS if every else claim_words.NONE_YET)
    st.page_link("views/claim_new.py", label=claim_words.NEW)
    st.stop()

parts.figures(claim_words.counts([claim_words.STATES[one.state] for one in told]))
for one in told[:FIRST]:
    with st.container(border=True):
        st.text(claim_words.trouble(one))
        name = one.claim.claim
        st.page_link("views/claim.py", label=claim_words.OPEN_CLAIM, query_params={"claim": name})
if len(told) > FIRST:
    st.text(hold_words.MORE.format(count=len(told) - FIRST))
st.page_link("views/claims.py", label=hold_words.ALL)

st.header(hold_words.DUE_HEADING)
plan = due.planned(opened, datetime.now(UTC).date())
sites = [(one.claim.formulation, site) for one in told for site in one.claim.sites]
rows = due.waited_for(sites, opened.exposure.panels, plan)
st.text(hold_words.next_due(rows))
if len(rows):
    parts.table(rows, hold_words.DUE_COLUMNS)
claims_parts.cautions()
