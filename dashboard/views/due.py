"""The technician's first page: what is due, one tap to log it; what is in doubt; last visits."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st

from dashboard import data, due, parts, ways_words
from dashboard import due_words as wording

FEW, COMING, LAST = 5, 4, 6

opened = parts.source_or_help()
plan = due.planned(opened, datetime.now(UTC).date())
now, coming = due.open_now(plan), plan[plan["state"] == due.AHEAD]
doubts = due.doubted(opened)

st.title(ways_words.DUE)
parts.figures({
    wording.OVERDUE: str((now["state"] == "overdue").sum()),
    wording.DUE_NOW: str((now["state"] == "due").sum()),
    wording.DOUBTS: str(len(doubts)),
    wording.NEXT_VISIT: wording.day(coming["opens_on"].min()),
})  # fmt: skip

st.header(wording.VISITS_HEADING)
if now.empty:
    st.text(wording.not_due(coming))
    st.page_link("views/log.py", label=wording.LOG_ANYWAY)
for row in now.to_dict("records"):
    with st.container(border=True):
        st.text(wording.visit(row))
        st.page_link("views/log.py", label=wording.LOG_IT, query_params={"site": row["site"]})

st.header(wording.DOUBTS_HEADING)
st.text(wording.doubts(doubts))
if len(doubts):
    parts.table(doubts.head(FEW), wording.DOUBT_COLUMNS)
    first = doubts["visit"].iloc[0]
    st.page_link("views/doubts.py", label=wording.SETTLE_IT, query_params={"visit": first})

st.header(wording.LAST_HEADING)
parts.table(due.last_visits(data.readings(opened), LAST), wording.LAST_COLUMNS)
if len(coming):
    st.header(wording.COMING_HEADING)
    parts.table(coming.head(COMING), wording.PLAN_COLUMNS)
missed = plan[plan["state"] == "missed"]
if len(missed):
    with st.expander(wording.missed(len(missed))):
        parts.table(missed.iloc[::-1], wording.PLAN_COLUMNS)
