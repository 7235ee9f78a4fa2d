"""What additives do: two of them together, the gain along the dose of one, every effect."""

from __future__ import annotations

import streamlit as st

from aging.charts import dose_chart, interaction_chart, quantity
from aging.errors import AgingError
from aging.vocabulary import additive_title
from dashboard import parts, state, tables, trial_wording, trials, wording

opened = parts.source_or_help()
st.title(wording.ADDITIVES)
chosen = parts.settings(opened)
prop, months, level = chosen.prop, chosen.months, chosen.level
with parts.explained():
    found = trials.effects(opened, prop.name, months, level)
names = list(found.composition)
left, middle, right = st.columns(3)
with left:
    figure = state.choose(
        "figure", trial_wording.FIGURE, list(trial_wording.FIGURES), default="state",
        show=trial_wording.FIGURES.__getitem__,
    )  # fmt: skip
with middle:
    additive = state.choose("additive", trial_wording.DOSED, names, default=names[0],
                            show=additive_title)  # fmt: skip
mine = found.frame[found.frame["figure"] == figure]
unit = trial_wording.FIGURES[figure].replace("that month", f"{months:g} months").capitalize()
of = trial_wording.figure_of(figure, prop, months, level)
places = 3 if figure == "log speed" else prop.decimals
title = [quantity(prop), unit] if figure != "log speed" else [unit]

if len(names) > 1:
    others = [name for name in names if name != additive]
    with right:
        lines = state.choose("lines", trial_wording.LINES, others, default=others[0],
                             show=additive_title)  # fmt: skip
    st.header(trial_wording.TOGETHER_HEADING)
    cells = trials.by_composition(opened, prop.name, months, level, figure)
    rest = [name for name in others if name != lines]
    cells = cells[(cells[rest] == cells[rest].min()).all(axis=1)]
    statement = trial_wording.together(
        tables.of_pair(mine, additive, lines), figure, prop, months, level
    )
    parts.chart(
        interaction_chart(
            cells, x=additive, lines=lines, title=title, decimals=places, description=statement
        ),
        statement,
    )
    doses = {one: trial_wording.capital(additive_title(one)) for one in (additive, lines)}
    parts.same_numbers(
        cells, doses | trial_wording.CELL_COLUMNS,
        of=of, decimals=places,
        **{additive: "%g", lines: "%g"},
    )  # fmt: skip
else:
    st.text(trial_wording.ONE_ADDITIVE)

st.header(trial_wording.DOSE_HEADING)
try:
    curve = trials.along(opened, prop.name, months, level, figure=figure, additive=additive)
except AgingError as error:
    st.text(trial_wording.FEW_DOSES + str(error))
else:
    statement = trial_wording.dose(curve, figure, prop, level)
    parts.chart(
        dose_chart(
            curve.curve, additive=additive, title=title, levels_off=curve.levels_off[0],
            description=statement,
        ),
        statement,
    )  # fmt: skip
    parts.same_numbers(
        curve.curve[curve.curve["exposed"] | (curve.curve.index % 10 == 0)],
        trial_wording.curve_columns(additive), of=of, decimals=places,
        dose="%.1f",
    )  # fmt: skip
    if curve.notes:
        st.text("\n".join(map(wording.as_sentence, curve.notes)))

st.header(trial_wording.EFFECTS_HEADING)
parts.table(
    mine.assign(what=[trial_wording.effect(row) for row in mine.to_dict("records")]),
    trial_wording.EFFECT_COLUMNS, of=of, decimals=places,
    sign="+", probability_above="%.2f",
)  # fmt: skip
st.markdown(trial_wording.HOW_EFFECTS)
parts.download(found.frame, "effects.csv", trial_wording.DOWNLOAD)
parts.notes(found.notes)
parts.cautions()
