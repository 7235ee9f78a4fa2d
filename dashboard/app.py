"""Navigation only: the pages, by what people come to do; a section's first answers them first."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import streamlit as st

from dashboard import (
    claim_words,
    entry,
    entry_words,
    fits,
    guide_words,
    keeping_words,
    log_words,
    start_words,
    state,
    ways_words,
    wording,
)

ICON = Path(__file__).with_name("icon.svg")


def page(view: str, title: str) -> st.Page:
    """The page of a file in `views`; labels, bookmarks and letters hold its address."""
    seen = "visible" if entry.opens(view) else "hidden"
    return st.Page(f"views/{view}.py", title=title, url_path=view, visibility=seen)


@st.fragment(run_every=timedelta(days=1))
def whole_again() -> None:
    """Nothing: the browser asks for a page anew when a lost link is back where one such is in it.

    Else a run that was cut with the link would stay on the screen as it was, without its end.
    """


st.set_page_config(page_title=wording.TITLE, page_icon=str(ICON), layout="wide")
st.html(wording.LOOK)
whole_again()
comes_in = entry.inside()
if not entry.may("take out"):
    st.html(entry_words.STAYS)
chosen = st.navigation(
    {
        "": [st.Page("views/ways.py", title=ways_words.WAYS, default=True)],
        ways_words.SECTIONS["visit"]: [
            page("due", ways_words.DUE),
            page("log", log_words.TITLE),
            page("doubts", keeping_words.DOUBTS),
            page("story", keeping_words.STORY),
            page("instruments", keeping_words.INSTRUMENTS),
        ],
        ways_words.SECTIONS["judge"]: [
            page("leading", ways_words.LEADING),
            page("compare", wording.COMPARE),
            page("decay", wording.DECAY),
            page("additives", wording.ADDITIVES),
            page("appearance", wording.APPEARANCE),
            page("spectra", wording.SPECTRA),
            page("scores", wording.SCORES),
        ],
        ways_words.SECTIONS["claim"]: [
            page("holding", ways_words.HOLDING),
            page("claims", claim_words.CLAIMS),
            page("claim", claim_words.CLAIM),
            page("claim_new", claim_words.NEW),
            page("claim_text", claim_words.TEXT),
        ],
        ways_words.SECTIONS["keep"]: [
            page("overview", wording.OVERVIEW),
            page("start", start_words.SOURCE),
            page("begin", start_words.BEGIN),
            page("load", start_words.TO_LOAD),
            page("me", entry_words.ME),
        ],
        ways_words.SECTIONS["help"]: [
            page("help", guide_words.HELP),
            page("methods", guide_words.METHODS),
        ],
    },
    position="top" if comes_in else "hidden",
)
entry.require_open(chosen.url_path, comes_in=comes_in)
state.arrive(chosen.url_path, chosen.title)
try:
    chosen.run()
except fits.Running as waiting:
    fits.show(waiting.job)
