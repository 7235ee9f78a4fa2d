"""Pieces that pages share. Text that a user may have written goes through st.text or a table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import pandas as pd
import streamlit as st

from aging.errors import AgingError
from aging.records import csv_of
from aging.vocabulary import Property, property_named
from dashboard import data, entry, start_parts, start_words, state, tables, wording

MONTHS, LEVELS = (12, 24, 36, 48, 60), (0.80, 0.90, 0.95)


@dataclass(frozen=True)
class Settings:
    """What the pages that project have in common."""

    prop: Property
    months: int
    level: float


@dataclass(frozen=True)
class Sound:
    """A chart sent unchecked: the tests of charts have checked its form, and that takes long."""

    figure: Any

    def to_dict(self) -> dict[str, Any]:
        """The chart in Vega-Lite."""
        made: dict[str, Any] = self.figure.to_dict(validate=False)
        return made


def source_or_help() -> data.Opened:
    """The open source; where there is none, the page says what to do and ends."""
    source, (view, title) = data.named_source(), state.here()
    if source is None:
        _welcome()
    try:
        opened = data.opened(source)
    except AgingError as error:
        _welcome(wording.CANNOT_READ, str(error))
    if data.readings(opened).empty:
        start_parts.nothing_yet(opened, view, title)
        st.stop()
    return opened


def _welcome(*reason: str) -> None:
    st.title(start_words.NO_SOURCE_YET)
    if view := state.here()[0]:
        st.text(start_words.empty(view)[0])
    if reason:
        st.text("\n".join(reason))
    start_parts.ways_in()
    st.stop()


def settings(opened: data.Opened, *, ahead: bool = True) -> Settings:
    """Property, months (where the page looks ahead) and level, kept folded away."""
    names = tables.properties(data.readings(opened), derived=ahead)
    if not names:
        st.warning(wording.ONLY_RATINGS)
        st.stop()
    with st.expander(wording.settings(ahead=ahead)):
        left, middle, right = st.columns(3)
        with left:
            name = state.choose(
                "property",
                wording.PROPERTY,
                names,
                default=names[0],
                show=lambda n: property_named(n).label,
            )
        months = 36
        if ahead:
            with middle:
                months = state.choose("months", wording.MONTHS, MONTHS, default=months)
        with right:
            level = state.choose("level", wording.LEVEL, LEVELS, default=0.90, show=wording.percent)
    return Settings(property_named(name), months, level)  # fmt: skip


@contextmanager
def explained() -> Iterator[None]:
    """Say why a model could not be had and end the page, in place of a traceback."""
    try:
        yield
    except AgingError as error:
        st.warning(wording.CANNOT_MODEL)
        st.text(str(error))
        st.stop()


def chart(figure: Any, statement: str) -> None:
    """A chart under its one-sentence statement; its description is its alternative text."""
    st.text(statement)
    draw(figure)


def draw(figure: Any) -> None:
    """A chart whose statement stands already."""
    st.altair_chart(Sound(figure), width="stretch", theme=None)


@contextmanager
def details(statement: str) -> Iterator[None]:
    """One sentence; the charts and numbers that show it are folded away below."""
    st.text(statement)
    with st.expander(wording.DETAILS):
        yield


@contextmanager
def folded(label: str) -> Iterator[bool]:
    """An expander, and whether it is open: what is in it is not made before somebody looks."""
    with st.expander(label, key=f"folded {label}", on_change="rerun") as box:
        yield bool(box.open)


def table(
    frame: pd.DataFrame,
    labels: Mapping[str, str],
    *,
    of: str = "",
    decimals: int = 0,
    sign: str = "",
    **formats: str,
) -> None:
    """The columns named in `labels`; floats to `decimals` unless `formats` says otherwise.

    of: what the floats are, in which unit, read or projected, where their labels do not say it.
    """
    if of:
        st.text(of)
    config: dict[str, Any] = {}
    for column, label in labels.items():
        if pd.api.types.is_datetime64_any_dtype(frame[column]):
            config[column] = st.column_config.DateColumn(label, format="YYYY-MM-DD")
        elif pd.api.types.is_float_dtype(frame[column]):
            shown = formats.get(column, f"%{sign}.{decimals}f")
            config[column] = st.column_config.NumberColumn(label, format=shown)
        else:
            config[column] = st.column_config.Column(label)
    st.dataframe(frame[list(labels)], hide_index=True, column_config=config)


def download(frame: pd.DataFrame, name: str, label: str) -> None:
    """A button that saves the whole frame as a CSV file, for who may take it out."""
    if entry.may("take out"):
        kept = {"on_click": entry.taken_out, "args": (name,)} if entry.name() else {}
        told: dict[str, Any] = {"on_click": "ignore"} | kept
        st.download_button(label, csv_of(frame), name, "text/csv", **told)


def same_numbers(frame: pd.DataFrame, labels: Mapping[str, str], **how: Any) -> None:
    """A chart's numbers as a table, folded below it; `how` as of `table`."""
    with st.expander(wording.NUMBERS_HEADING):
        table(frame, labels, **how)


def figures(facts: Mapping[str, str]) -> None:
    """Big figures, as many beside each other as fit: label from `wording`, value a number."""
    with st.container(horizontal=True, gap="medium"):
        for label, value in facts.items():
            st.metric(label, value, width="content")


def notes(texts: Iterable[str]) -> None:
    """The notes of a result, or nothing."""
    texts = list(texts)
    if texts:
        st.header(wording.NOTES_HEADING)
        st.text("\n".join(map(wording.as_sentence, texts)))


def cautions() -> None:
    """What every page with a projection ends with."""
    st.header(wording.CAUTIONS_HEADING)
    st.markdown(wording.CAUTIONS)
