"""Differences to the control: how large, how sure, from where, who leads, who fails elsewhere."""

from __future__ import annotations

from functools import partial

import streamlit as st

from aging.charts import difference_chart, origins_chart, rank_chart, site_paths_chart
from aging.comparison import amounts
from dashboard import data, parts, state, tables, trial_wording, trials, wording

TIMES = (0, 0.5, 1, 1.5, 2.5)  # of the difference that matters by default

opened = parts.source_or_help()
st.title(wording.COMPARE)
chosen = parts.settings(opened)
prop, months, level = chosen.prop, chosen.months, chosen.level
amount = amounts.worthwhile(prop.name)
with st.expander(trial_wording.CHOICES):
    left, middle, right = st.columns(3)
with left:
    worthwhile = state.choose(
        "worthwhile", trial_wording.WORTHWHILE, [round(amount * one, 6) for one in TIMES],
        default=amount, show=lambda one: trial_wording.amount(one, prop),
    )  # fmt: skip
with middle:
    target = state.choose(
        "target", trial_wording.LIVED, list(trial_wording.TARGETS), default="state",
        show=trial_wording.TARGETS.__getitem__,
    )  # fmt: skip

with parts.explained():
    comparison = trials.compared(opened, prop.name, months, level, worthwhile)
everything = tables.in_order(comparison.frame.query("target == @target"))
against = everything.drop_duplicates("formulation").set_index("formulation")["against"]
controls = list(dict.fromkeys(against))
control = controls[0]
if len(controls) > 1:
    with right:
        control = state.choose("control", trial_wording.CONTROL, controls, default=control)
frame = everything[everything["formulation"].map(against) == control]
failing = trials.failed(opened)

st.header(trial_wording.DIFFERENCES[target].format(months=months))
statement = trial_wording.comparison(frame, prop, failing)
several = (frame["site"] == "all").any()
forest = partial(difference_chart, worthwhile=worthwhile, failing=failing)
whole = frame[frame["site"] == "all"] if several else frame
parts.chart(forest(whole, prop, description=statement), statement)

st.header(trial_wording.RANKS_HEADING)
if prop.higher_is_better is None:
    st.text(trial_wording.no_side(prop))
else:
    with parts.explained():
        places = trials.ranked(opened, prop.name, months).query("site == 'all'")
    statement = trial_wording.ranks(places, trials.told(failing))
    parts.chart(rank_chart(places, description=statement), statement)
    parts.same_numbers(trials.places(places), trial_wording.rank_columns(places))

st.header(trial_wording.GUARDS_HEADING)
verdicts = trials.guarded(opened)
verdicts = verdicts[verdicts["formulation"].isin([*frame["formulation"], control])]
st.text(trial_wording.guards(verdicts))
if len(verdicts):
    shown = verdicts.assign(property=verdicts["property"].map(trial_wording.named))
    parts.same_numbers(shown, trial_wording.GUARD_COLUMNS, decimals=1)

over = frame[(frame["site"] == "all") & ~frame["formulation"].isin(failing)]
sign = -1 if prop.higher_is_better is False else 1
leading = over.assign(estimate=sign * over["estimate"]).nlargest(1, "estimate")["formulation"]
names = list(dict.fromkeys(frame["formulation"]))
candidate = state.choose("candidate", trial_wording.CANDIDATE, names, default=[*leading, *names][0])

drawn = data.course(
    opened, prop.name, tuple(range(0, months + 1, 3)), (level,), tuple(sorted({candidate, control}))
).query("target == 'state' and site != 'all'")
drawn = drawn.dropna(subset=["estimate"])
sites = list(dict.fromkeys(drawn["site"]))
span = (float(drawn["lower"].min()), float(drawn["upper"].max()))
st.header(trial_wording.PATHS_HEADING)
with parts.details(trial_wording.by_site(frame, prop, candidate)):
    if several:
        told = trial_wording.EVERY_SITE
        parts.chart(forest(frame, prop, description=told), told)
    for column, one in zip(st.columns(len(sites) or 1), sites, strict=False):
        with column:
            both = drawn[drawn["site"] == one]
            statement = trial_wording.paths(both, prop, months, [candidate, control])
            figure = site_paths_chart(
                both, prop, order=[candidate, control], span=span, description=statement
            )
            parts.chart(figure, statement)
    parts.table(
        drawn, trial_wording.PATH_COLUMNS,
        of=wording.values(prop, wording.READ_OR_PROJECTED, level), decimals=prop.decimals,
        months="%d",
    )  # fmt: skip

if prop.derived_from:
    st.header(trial_wording.PARTS_HEADING)
    st.text(trial_wording.CALCULATED)
else:
    found = trials.parts_of(opened, prop.name, months, level).query("formulation == @candidate")
    found = found.assign(name=found["part"].map(trial_wording.PARTS))
    statement = trial_wording.parts(found, prop, candidate)
    order = list(trial_wording.PARTS.values())
    st.header(trial_wording.PARTS_HEADING)
    with parts.details(statement):
        parts.draw(origins_chart(found, prop, order=order, description=statement))
        st.text(trial_wording.HOW_PARTS)
        parts.table(
            found.assign(site=found["site"].map(wording.site)), trial_wording.PART_COLUMNS,
            of=trial_wording.difference(prop, level), decimals=prop.decimals, sign="+",
        )  # fmt: skip

pooled = trials.averaged(opened, prop.name)
pooled = pooled[pooled["formulation"].isin([*names, control])]
statement = trial_wording.pooling(pooled, prop, candidate)
st.header(trial_wording.POOLING_HEADING)
with parts.details(statement):
    parts.table(
        pooled, trial_wording.POOLING_COLUMNS, of=wording.values(prop, "as read"),
        decimals=prop.decimals, p_slopes="%.2f", p_intercepts="%.2f",
    )  # fmt: skip
    st.text(trial_wording.HOW_POOLING)

shown = frame.assign(site=frame["site"].map(wording.site))
chances = dict.fromkeys(
    ("probability_better", "probability_worthwhile", "probability_equivalent", "p_sites"), "%.2f"
)
st.header(trial_wording.NUMBERS_HEADING)
with parts.details(trial_wording.HOW_SITES):
    parts.table(
        shown, trial_wording.columns(prop), of=trial_wording.difference(prop, level),
        decimals=prop.decimals, sign="+", **chances,
    )  # fmt: skip
parts.download(comparison.frame, "differences.csv", trial_wording.DOWNLOAD)
parts.notes(comparison.notes)
parts.cautions()
