"""Pieces of the page that loads files: what headers mean, and what would be stored."""

from __future__ import annotations

import streamlit as st

from aging.errors import AgingError
from aging.intake.matching import (
    KEPT,
    Match,
    Matching,
    is_dated,
    meanings,
    seems_percent,
    units,
    with_value,
)
from aging.intake.tables import ALL_ROWS, Table
from aging.vocabulary import PROPERTIES, SURFACE_STATES
from dashboard import load_words as words
from dashboard import loading, parts


def matched(table: Table, target: loading.Target, place: int) -> tuple[Matching | None, bool]:
    """The matching of a table, None where it is left out, and whether a person confirmed it."""
    known, remembered = loading.told(table, target)
    seems = remembered or known.measured or known.sheet == "weather" or not known.lacking
    with st.expander(words.MATCH_HEADING, expanded=not remembered):
        st.text((words.REMEMBERED if remembered else words.MATCH_ABOUT).format(file=table.file))
        kinds = [*words.SHEETS]
        sheet = st.selectbox(
            words.SHEET, kinds, kinds.index(known.sheet if seems else words.LEAVE_OUT),
            key=f"sheet {place} {known.layout}", format_func=words.SHEETS.__getitem__,
        )  # fmt: skip
        if sheet == words.LEAVE_OUT:
            return None, True
        try:
            mine = Matching(sheet, tuple(_columns(table, known, sheet, place)))
        except AgingError as error:
            st.text(str(error))
            return None, False
        mine = _all_rows(mine, known, place)
        if mine.lacking:
            st.text(words.lacking(mine.lacking))
            return None, False
        return mine, st.checkbox(words.CONFIRM, remembered, key=f"right {place} {known.layout}")


def _columns(table: Table, known: Matching, sheet: str, place: int) -> list[Match]:
    """A line of choices for each header."""
    before = {one.header.strip().lower(): one for one in known.matches}
    found = []
    for at, name in enumerate(table.headers):
        key = f"{place} {known.layout} {sheet} {at}"
        past = before.get(name.strip().lower(), Match(name, KEPT))
        offered = ["", KEPT, *meanings(sheet)]
        shown, one, two, three = st.columns([3, 2, 2, 2], vertical_alignment="bottom")
        shown.text(words.under(name, table.cells[name]))
        first = past.meaning if past.meaning in offered else KEPT
        meaning = one.selectbox(words.MEANING, offered, offered.index(first),
                                key=f"meaning {key}", format_func=words.meaning)  # fmt: skip
        unit, state, known_units = "", "", units(meaning)
        dated, measured = is_dated(meaning), meaning in PROPERTIES
        if len(known_units) > 1:
            first = past.unit if past.unit in known_units else ""
            unit = two.selectbox(
                words.ORDER if dated else words.UNIT, known_units, known_units.index(first),
                key=f"unit {key}", format_func=words.order if dated else words.unit,
            )  # fmt: skip
        if sheet == "readings" and measured:
            states = ["", *SURFACE_STATES]
            state = three.selectbox(words.STATE, states, states.index(past.surface_state),
                                    key=f"state {key}", format_func=words.state)  # fmt: skip
            bare = PROPERTIES[meaning].unit == "fraction" and not unit
            if bare and seems_percent(table.cells[name]):
                st.text(words.PERCENT)
        found.append(Match(name, meaning, unit, state))
    return found


def _all_rows(matching: Matching, known: Matching, place: int) -> Matching:
    """The same with what holds for all rows of a table of readings."""
    past = {one.meaning: one.value for one in known.matches if one.header == ALL_ROWS}
    meant = {one.meaning for one in matching.matches}
    if matching.sheet == "weather" and "site" not in meant:
        site = st.text_input(words.SITE, key=f"site {place}").strip()
        return with_value(matching, "site", site) if site else matching
    if matching.sheet != "readings":
        return matching
    boxes = iter(st.columns(3))
    if "read_on" not in meant:
        day = next(boxes).date_input(words.DAY, None, max_value="today", key=f"day {place}")
        matching = with_value(matching, "read_on", f"{day:%Y-%m-%d}") if day else matching
    for name, label in (("operator", words.OPERATOR), ("instrument", words.INSTRUMENT)):
        if name not in meant:
            given = next(boxes).text_input(label, past.get(name, ""), key=f"{name} {place}").strip()
            matching = with_value(matching, name, given) if given else matching
    return matching


def preview(seen: loading.Seen) -> None:
    """Counts, first rows, findings, refused rows to take away, and doubts."""
    read = seen.read
    st.subheader(words.PREVIEW)
    st.text(words.counted(read, len(seen.new), seen.already))
    parts.table(words.tallies(read), words.TALLY_COLUMNS)
    rows = read.exposure.readings
    if len(rows):
        st.text(words.PREVIEW_ROWS.format(shown=min(len(rows), loading.SHOWN), count=len(rows)))
        first = words.readings(rows.sort_values(["panel", "read_on"], kind="stable"), loading.SHOWN)
        parts.table(first, {name: words.READING_COLUMNS[name] for name in first})
    if read.findings:
        st.subheader(words.FINDINGS)
        parts.table(words.findings(read.findings), words.FINDING_COLUMNS)
    if len(read.refused):
        parts.download(read.refused, words.REFUSED_FILE, words.REFUSED)
    if len(seen.doubts):
        st.subheader(words.DOUBTS)
        parts.table(words.doubts(seen.doubts), words.DOUBT_COLUMNS)
    if read.notes:
        with st.expander(words.NOTES):
            st.text("\n".join(read.notes))
