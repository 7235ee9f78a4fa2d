"""Pieces that the pages of claims share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd
import streamlit as st

from aging.charts import decay_chart
from aging.claims import Hit
from aging.errors import AgingError
from aging.source import is_store
from aging.vocabulary import property_named
from dashboard import claim_words as wording
from dashboard import claims, data, entry, parts, tables
from dashboard import claims_case_words as case_words


def need_store(opened: data.Opened) -> None:
    """Say how to make a store and end the page, where a folder is open."""
    if not is_store(opened.source):
        st.text(wording.NEEDS_STORE)
        st.code(wording.STORE_COMMANDS, language=None)
        st.stop()


def cautions() -> None:
    """The cautions, under the number."""
    st.text(wording.cautions())


def chart(
    opened: data.Opened, formulation: str, name: str, months: float, value: float | None
) -> None:
    """The fan of the mean over sites against a claimed value."""
    curve, read = claims.fan(opened, formulation, name, months)
    at = curve[(curve["months"] == months) & (curve["target"] == "reading")].iloc[0]
    statement = wording.fan(name, formulation, at, value)
    prop = property_named(claims.parts_of(name)[0])
    figure = decay_chart(
        curve, read, wording.as_told(prop, name), at=months, description=statement, claimed=value
    )
    parts.chart(figure, statement)
    numbers = curve[(curve["months"] % 6 == 0) | (curve["months"] == months)]
    parts.same_numbers(
        tables.told(numbers), wording.CURVE_COLUMNS, of=wording.figures_are(name),
        decimals=prop.decimals, months="%g",
    )  # fmt: skip


def pick(rows: pd.DataFrame) -> str:
    """A table of claims; the id of the one that was ticked, or nothing."""
    shown = rows[list(wording.CLAIM_COLUMNS)].rename(columns=wording.CLAIM_COLUMNS)
    config = {wording.CLAIM_COLUMNS["fails"]: st.column_config.NumberColumn(format="%.2f")}
    ticked = st.dataframe(
        shown, hide_index=True, column_config=config, on_select="rerun",
        selection_mode="single-row", key="claims listed",
    ).selection.rows  # fmt: skip
    return str(rows["claim"].iloc[ticked[0]]) if ticked else ""


def papers(opened: data.Opened, claim: str) -> None:
    """The dossier, made when asked for and then offered, for who may take it out."""
    if not entry.may("take out"):
        return
    asked = f"papers of {claim}"
    if st.button(wording.PREPARE, key=f"prepare {claim}"):
        st.session_state[asked] = True
    if not st.session_state.get(asked):
        return
    try:
        files = claims.papers(opened, claim)
    except AgingError as error:
        st.text(str(error))
        return
    for column, ending in zip(st.columns(len(files)), files, strict=True):
        (label, mime), name = wording.PAPERS[ending], f"claim_{claim}.{ending}"
        kept = {"on_click": entry.taken_out, "args": (name,)} if entry.name() else {}
        told: dict[str, Any] = {"on_click": "ignore"} | kept
        column.download_button(label, files[ending], name, mime, **told)


def checklist(case: claims.Case) -> None:
    """The gates of a case: what is missing first, then what is met, then stronger bases."""
    if case.gates:
        st.text(case_words.gates(case.gates))
        shown = sorted(case.gates, key=lambda gate: gate.met)
        st.text("\n".join(map(case_words.gate, shown)))
    else:
        st.text(case_words.NO_GATE)
    for basis, lacking in case.lacking.items():
        st.text(case_words.also(basis, lacking))


def sayings(told: Sequence[str], basis: str) -> None:
    """Sentences to copy, or why there is none."""
    if not told:
        st.text(case_words.nothing(basis))
    for text in told:
        st.code(text, language=None, wrap_lines=True)


def criteria(case: claims.Case) -> None:
    """The table of criteria, where the property is judged by them."""
    rows = case.criteria
    if rows is None:
        return
    st.header(case_words.CRITERIA_HEADING)
    st.text(case_words.verdicts(rows))
    parts.table(case_words.criteria(rows), case_words.CRITERIA_COLUMNS, decimals=2)
    st.text(case_words.criteria_note(rows))


def hits(text: str, found: Sequence[Hit]) -> None:
    """A text with its expressions to avoid marked, and why each."""
    st.text(case_words.hits(found))
    if found:
        st.html(case_words.marked(text, found))
        for hit in found:
            st.text(case_words.hit(text, hit))
