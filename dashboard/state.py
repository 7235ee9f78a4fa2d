"""Lasting choices: they survive a page change and stand in the address for a bookmark.

The address wins (a bookmark, the browser's back button), then the session, then the default.
A change of the widget is written to the address before the page runs again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

import streamlit as st

Option = TypeVar("Option", str, int, float)


def choose(
    key: str,
    label: str,
    options: Sequence[Option],
    *,
    default: Option,
    show: Callable[[Option], str] = str,
) -> Option:
    """A select box whose choice lasts; options that no longer exist give way to `default`."""
    known = {str(option): option for option in options}
    wanted = (st.query_params.get(key), st.session_state.get(_lasting(key)), str(default))
    current = next(known[text] for text in wanted if text in known)
    st.session_state[key] = current
    chosen = st.selectbox(
        label, options, key=key, format_func=show, on_change=_to_address, args=(key,)
    )
    st.session_state[_lasting(key)] = str(chosen)
    if st.query_params.get(key) != str(chosen):
        st.query_params[key] = str(chosen)
    return chosen


def arrive(view: str, title: str) -> None:
    """Note which page is drawn."""
    st.session_state["here"] = (view, title)


def here() -> tuple[str, str]:
    """Address and title of the page that is drawn."""
    return st.session_state.get("here", ("", ""))


def _to_address(key: str) -> None:
    st.query_params[key] = str(st.session_state[key])


def _lasting(key: str) -> str:
    return f"lasting {key}"
