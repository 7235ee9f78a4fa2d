"""What is exposed where, since when, when it was last read, and what needs attention."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st

from aging.charts import visits_chart
from dashboard import attention, data, parts, start, start_words, wording

FIRST = 20

opened = parts.source_or_help()
shown = data.overview(opened, datetime.now(UTC).date())

st.title(wording.OVERVIEW)
st.page_link("views/start.py", label=start_words.SOURCE)
st.text(start_words.OPEN_NOW + start.shown(opened.source))
if wording.is_sample(opened.source):
    st.markdown(wording.SAMPLE_IS)
parts.figures({
    wording.PANELS_OPEN: f"{shown.sites['open'].sum():,}",
    wording.SITES: f"{len(shown.sites):,}",
    wording.READINGS: f"{len(data.readings(opened)):,}",
    wording.LAST_VISIT: f"{shown.visits['on'].max():%Y-%m-%d}",
})  # fmt: skip

st.header(wording.ATTENTION_HEADING)
found = attention.findings(opened.findings)
if shown.matters.empty and found.empty:
    st.markdown(wording.CALM)
if len(shown.matters):
    parts.table(shown.matters, wording.MATTER_COLUMNS)
if len(found):
    st.text(wording.findings(found))
    parts.table(attention.finding_counts(found), wording.FINDING_COUNT_COLUMNS)
    first = found.head(FIRST)
    with st.expander(wording.FINDINGS_SHOWN.format(shown=len(first), count=len(found))):
        parts.table(first, wording.FINDING_COLUMNS)

st.header(wording.VISITS_HEADING)
statement = wording.visits(shown.visits)
parts.chart(visits_chart(shown.spans, shown.visits, description=statement), statement)
parts.same_numbers(shown.visits.sort_values("on", ascending=False), wording.VISIT_COLUMNS)

st.header(wording.SITES_HEADING)
parts.table(shown.sites, wording.SITE_COLUMNS)
st.header(wording.SERIES_HEADING)
parts.table(shown.series, wording.SERIES_COLUMNS, decimals=1)
