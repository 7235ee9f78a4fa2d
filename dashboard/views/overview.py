"""What is exposed where, since when, when it was last read, and what needs attention."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st

from aging.charts import visits_chart
from dashboard import attention, parts, tables, wording

FIRST = 20

opened = parts.source_or_help()
exposure, today = opened.exposure, datetime.now(UTC).date()
read = tables.readings(exposure)
sites = tables.by_site(exposure, today)

st.title(wording.EXPOSED_HEADING)
if wording.is_sample(opened.source):
    st.markdown(wording.SAMPLE_IS)
parts.figures({
    wording.PANELS_OPEN: f"{int(sites['open'].sum()):,}",
    wording.SITES: f"{len(sites):,}",
    wording.READINGS: f"{len(read):,}",
    wording.LAST_VISIT: f"{read['on'].max():%Y-%m-%d}",
})  # fmt: skip

st.subheader(wording.ATTENTION_HEADING)
matters = attention.items(exposure, today)
found = attention.findings(opened.findings)
if matters.empty and found.empty:
    st.markdown(wording.CALM)
if len(matters):
    parts.table(matters, wording.MATTER_COLUMNS)
if len(found):
    parts.table(attention.finding_counts(found), wording.FINDING_COUNT_COLUMNS)
    shown = found.head(FIRST)
    with st.expander(wording.FINDINGS_SHOWN.format(shown=len(shown), count=len(found))):
        parts.table(shown, wording.FINDING_COLUMNS)

st.subheader(wording.VISITS_HEADING)
spans, visits = tables.spans(exposure), tables.visits(read)
statement = wording.visits(visits)
parts.chart(visits_chart(spans, visits, description=statement), statement)

st.subheader(wording.SITES_HEADING)
parts.table(sites, wording.SITE_COLUMNS)
st.subheader(wording.SERIES_HEADING)
parts.table(tables.by_series(exposure), wording.SERIES_COLUMNS, decimals=1)
