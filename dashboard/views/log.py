"""Readings at the rack or on the roof, saved one by one; a label's code opens its panel here."""

from __future__ import annotations

import streamlit as st

from aging.checks.table import MEASURED
from aging.errors import AgingError
from aging.fieldwork import visit
from aging.fieldwork.round_sheet import CAUTIONS, RoundSheet
from aging.source import is_store
from aging.vocabulary import PROPERTIES
from dashboard import (
    data,
    load_words,
    log,
    log_form,
    log_more,
    log_round,
    parts,
    start_parts,
    start_words,
    state,
)
from dashboard import log_words as wording


def opened() -> str:
    """The open store; without one the page says how to make it and ends."""
    source = data.named_source() or ""
    if not is_store(source):
        if source:
            st.text(wording.NEEDS_STORE)
            st.code(wording.STORE_COMMANDS, language=None)
        else:
            st.text(start_words.NO_SOURCE_YET)
            start_parts.ways_in()
        st.stop()
    return source


def site_of(source: str) -> str:
    """The site chosen, or that of the panel in the address."""
    panel = st.query_params.get("panel")
    home = log.facts(log.known(source).panels, "panel", panel or "").get("site")
    if panel and home is None:
        st.text(wording.UNKNOWN_PANEL + panel)
    if home and "site" not in st.query_params:
        st.query_params["site"] = home
    sites = sorted(log.known(source).panels["site"].unique())
    if not sites:
        st.text(wording.NO_PANELS)
        st.page_link("views/load.py", label=load_words.TITLE)
        st.page_link("views/begin.py", label=start_words.BEGIN)
        st.stop()
    return state.choose("site", wording.SITE, sites, default=sites[0])


def first_round(source: str, sheet: RoundSheet) -> RoundSheet:
    """The round with what is to be read besides, as nothing was read before."""
    own = tuple(one.name for one in sheet.properties)
    more = st.multiselect(
        wording.ALSO, [name for name in PROPERTIES if name not in own], key=f"also {sheet.site}",
        format_func=lambda name: PROPERTIES[name].label, persist_state="session",
    )  # fmt: skip
    return log.sheet(source, sheet.site, sheet.on, (*own, *more)) if more else sheet


st.title(wording.TITLE)
source = opened()
left, right = st.columns(2)
try:
    with left:
        site = site_of(source)
    on = f"{log.now(log.known(source), site):%Y-%m-%d}"
    sheet, (day, lost) = log.sheet(source, site, on), log.so_far(source, on)
    if not any(one.earlier for one in sheet.panels):
        sheet = first_round(source, sheet)
except AgingError as error:
    st.warning(wording.CANNOT_OPEN)
    st.text(str(error))
    st.stop()

if lost:
    st.warning(wording.LOST)
    st.text(lost)
progress = visit.progress(sheet, day).set_index("panel", drop=False)
panels = {one.panel: one for one in sheet.panels}
unread = progress.index[progress["state"].isin(["to read", "part"])]
wanted = log.facts(log.known(source).panels, "panel", st.query_params.get("panel", ""))
if wanted.get("site") == site and wanted["panel"] not in panels:
    st.text(wording.NOT_IN_ROUND + wanted["panel"])
with right:
    chosen = state.choose(
        "panel", wording.PANEL, list(panels), default=next(iter(unread), sheet.panels[0].panel),
        show=lambda name: wording.option(panels[name]),
    )  # fmt: skip
panel = panels[chosen]
filed = sum(one.kind == "file_specimen" for one in sheet.panels)
st.text(wording.so_far(progress, filed))
this = log_round.this_round(source, sheet, day)

st.text(wording.place(panel))
st.text_input(wording.REMARK, key=log_form.remark_key(panel), max_chars=500)
mine = [asked for asked in sheet.properties if asked.name in panel.properties]
for place, asked in enumerate(mine):
    if place % 2 == 0:
        columns = st.columns(2)
    with columns[place % 2]:
        form = log_form.form_of(this, asked, panel)
        log_form.property_form(form)
        if panel.kind == "roof_patch" and asked.name == MEASURED:
            log_more.roof(form)
place = list(panels).index(chosen)
around = [*list(panels)[place + 1 :], *list(panels)[:place]]
following = next((name for name in around if name in unread), None)
if following:
    st.button(wording.NEXT, on_click=log_more.open_panel, args=(following,), width="stretch")
else:
    st.text(wording.NONE_LEFT)
log_more.photographs(this, panel)
log_more.not_read(this, panel)
log_more.today(this)
with parts.folded(wording.LEFT) as looks:
    if looks:
        parts.table(progress, wording.LEFT_COLUMNS)
with st.expander(wording.CAUTIONS):
    st.text("\n".join(CAUTIONS))
