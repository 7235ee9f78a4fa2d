"""How earlier forecasts would have done, judged by what was read later."""

from __future__ import annotations

import streamlit as st

from aging.charts import coverage_chart, error_chart
from dashboard import data, parts, state, wording

opened = parts.source_or_help()
st.title(wording.SCORES)
st.markdown(wording.SCORES_ARE)
chosen = parts.settings(opened, ahead=False)
prop, level = chosen.prop, chosen.level

with parts.explained():
    found = data.backtested(opened, prop.name, level)
board = found.board.assign(forecaster=found.board["forecaster"].map(wording.FORECASTERS))

st.header(wording.HELD_HEADING)
statement = wording.held(board, level)
parts.chart(coverage_chart(board, level, description=statement), statement)

st.header(wording.ERROR_HEADING)
statement = wording.missed(board, prop)
parts.chart(error_chart(board, prop, description=statement), statement)

st.header(wording.BOARD_HEADING)
by = state.choose(
    "by", wording.SHOWN_BY, list(wording.ROWS_BY), default="cut", show=wording.ROWS_BY.__getitem__
)
rows = found.by(by, "forecaster")
rows = rows.assign(
    group=rows[by].map("{:g}".format) if by == "cut" else rows[by].astype(str),
    forecaster=rows["forecaster"].map(wording.FORECASTERS),
)
shares = dict.fromkeys(("coverage", "coverage_lower", "coverage_upper", "below"), "%.2f")
labels = wording.BOARD_COLUMNS | {"group": wording.ROWS_BY[by].capitalize()}
of = wording.values(prop, wording.ERRORS_ARE)
parts.table(rows, labels, of=of, decimals=prop.decimals, **shares)
st.markdown(wording.HOW_TO_READ)
parts.notes(found.notes)
