"""Pieces of the first five minutes that several pages show."""

from __future__ import annotations

from functools import partial
from urllib.parse import urlsplit

import pandas as pd
import streamlit as st

from aging.errors import AgingError
from aging.fieldwork.labels import entry_address, label_sheet
from aging.fieldwork.rack_map import as_hung, rack_page
from aging.fieldwork.round_sheet import html, round_sheet
from aging.records import Exposure
from aging.source import is_store
from dashboard import data, log, start, wording
from dashboard import start_words as words


def ways_in() -> None:
    """What is open, and every way to another source."""
    source = data.named_source()
    if source:
        st.text(words.OPEN_NOW + start.shown(source))
        if not wording.is_sample(source):
            st.text(words.SWITCHED)
            st.code(f"aging dashboard {start.shown(source)}", language=None)
    if not start.is_local():
        st.text(words.ONLY_LOCAL)
        st.code(words.COMMAND, language=None)
        return
    st.text(words.THREE_WAYS)
    look, own, bring = st.columns(3)
    with look.container(border=True, height="stretch"):
        st.subheader(words.LOOK)
        st.text(words.LOOK_IS)
        st.button(words.OPEN_SAMPLE, on_click=_sample, type="primary", width="stretch")
    with own.container(border=True, height="stretch"):
        st.subheader(words.OWN)
        st.text(words.OWN_IS)
        if st.button(words.BEGIN, width="stretch"):
            st.switch_page("views/begin.py")
    with bring.container(border=True, height="stretch"):
        st.subheader(words.BRING)
        st.text(words.BRING_IS)
        if st.button(words.TO_LOAD, width="stretch"):
            st.switch_page("views/load.py")
    _open_other()


def _sample() -> None:
    data.name_source(start.sample())


def _open_other() -> None:
    st.subheader(words.OPEN_HEADING)
    found = start.stores_at_home()
    with st.form("open"):
        there = None
        if found:
            there = st.selectbox(words.OPEN_HERE, found, index=None, key="store at home")
        path = st.text_input(words.PATH, placeholder=words.PATH_LIKE, key="path of source")
        if st.form_submit_button(words.OPEN_IT):
            try:
                start.open_named(path or there or "")
            except AgingError as error:
                st.text(str(error))
            else:
                st.switch_page("views/ways.py")


def nothing_yet(opened: data.Opened, view: str, title: str) -> None:
    """A page of a source without readings: what it will show, and what to do."""
    if not view:
        st.set_page_config(page_title=words.NEXT_HEADING)
    st.title(words.page(title if view else ""))
    if st.session_state.pop(start.MADE, None):
        st.success(words.MADE)
        st.text(start.shown(opened.source))
    for sentence in filter(None, words.empty(view)):
        st.text(sentence)
    panels = opened.exposure.panels
    if panels.empty:
        st.text(words.NO_PANELS)
        st.text(words.LOAD_OR_BEGIN)
        st.page_link("views/load.py", label=words.TO_LOAD)
        st.page_link("views/begin.py", label=words.BEGIN)
    elif view in ("", "overview"):
        next_steps(opened.source, opened.exposure)
    else:
        if is_store(opened.source):
            st.page_link("views/log.py", label=words.TO_LOG)
        st.page_link("views/load.py", label=words.TO_LOAD)


def next_steps(source: str, exposure: Exposure) -> None:
    """What a trial without readings needs: labels, map, round sheet, the page of a visit."""
    panels = exposure.panels
    outside = panels[panels["kind"] != "file_specimen"]
    st.text(words.hung(len(outside), len(panels) - len(outside), panels["site"].nunique(),
                       panels["formulation"].nunique()))  # fmt: skip
    st.text(words.STEPS)
    left, right = st.columns(2)
    address = left.text_input(words.ADDRESS, _address(), key="address", help=words.ADDRESS_HELP)
    site = right.selectbox(words.ROUND_SITE, sorted(panels["site"].unique()), key="first site")
    mine = panels[panels["site"] == site]
    try:
        entry_address(address, "")
        sheet = round_sheet(exposure, site, f"{log.now(exposure, site):%Y-%m-%d}")
    except AgingError as error:
        st.text(str(error))
        return
    papers = {
        words.LABELS: (f"labels_{site}.pdf", partial(label_sheet, mine, address)),
        words.RACK_MAP: (f"rack_{site}.pdf", partial(_map, mine, site)),
        words.ROUND: (f"round_{site}_{sheet.on}.html", partial(html, sheet)),
    }
    for column, (label, (name, make)) in zip(st.columns(3), papers.items(), strict=True):
        column.download_button(label, make, name, width="stretch", on_click="ignore")
    if is_store(source):
        st.page_link("views/log.py", label=words.TO_LOG, query_params={"site": str(site)})
    st.page_link("views/load.py", label=words.TO_LOAD)


def _map(panels: pd.DataFrame, site: str) -> bytes:
    hung = as_hung(panels[panels["position"].notna()])
    return rack_page(hung, words.rack(site), words.ROW_ONE_IS_UP)


def _address() -> str:
    parts = urlsplit(st.context.url or "")
    return f"{parts.scheme}://{parts.netloc}" if parts.netloc else "http://localhost:8501"


def told(frame: pd.DataFrame) -> None:
    """Findings of a form, a line each."""
    for row in frame.itertuples(index=False):
        st.text(words.not_made(row))
