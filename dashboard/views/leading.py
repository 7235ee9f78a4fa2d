"""The formulator's first page: trial by trial who leads, how surely, how long until it is told."""

from __future__ import annotations

import streamlit as st

from aging.charts import difference_chart
from aging.comparison import amounts
from dashboard import lead_words, parts, trials, ways_words, wording
from dashboard.trial_wording import difference, no_side

opened = parts.source_or_help()
st.title(ways_words.LEADING)
chosen = parts.settings(opened)
prop, months, level = chosen.prop, chosen.months, chosen.level
if prop.higher_is_better is None:
    st.text(no_side(prop))
    st.page_link("views/compare.py", label=lead_words.COMPARE_IT)
    st.stop()
worthwhile = amounts.worthwhile(prop.name)
with parts.explained():
    comparison = trials.compared(opened, prop.name, months, level, worthwhile)
    found = trials.leading(opened, prop.name, months, level)
differences = comparison.frame.query("target == 'state'")

if not found:
    st.text(lead_words.NO_LEADER)
for lead in found:
    site = "all" if (differences["site"] == "all").any() else lead.sites[0]
    here = differences[differences["site"] == site]
    rows = lead.chances.merge(here, on="formulation", how="left")
    rows = rows.assign(chance=100 * rows["probability"])
    first = rows.iloc[0]
    st.header(lead_words.trial(lead))
    st.text(lead_words.leading(lead, first, prop, months))
    parts.figures({
        lead_words.BEST: wording.chance(first["probability"]),
        lead_words.ahead(lead, prop): lead_words.against_control(first, prop),
    })  # fmt: skip
    st.text(lead_words.decision(lead, prop, months))
    known = rows.dropna(subset=["estimate"])
    if len(known):
        statement = lead_words.ordered(known, prop)
        figure = difference_chart(known, prop, description=statement, worthwhile=worthwhile)
        parts.chart(figure, statement)
    parts.same_numbers(
        rows,
        lead_words.COLUMNS,
        of=difference(prop, level),
        decimals=prop.decimals,
        sign="+",
        chance="%.0f",
        n_panels="%d",
    )  # fmt: skip
failing = trials.failed(opened)
if failing:
    st.text(lead_words.NOT_RANKED.format(names=trials.told(failing)))
st.page_link("views/compare.py", label=lead_words.COMPARE_IT)
parts.notes(comparison.notes)
parts.cautions()
