"""Who is signed in, what their roles open, a new passcode, and the way out."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from aging import access
from aging.errors import AgingError, require
from aging.ledger import open_ledger
from dashboard import data, entry, parts
from dashboard import entry_words as wording

st.title(wording.ME)
source, name = data.named_source() or "", entry.name() or ""
with open_ledger(source) as book:
    person = access.people(book).get(name)
if person is None:
    st.stop()
st.text(wording.person(name, sorted(person.roles)))
st.button(wording.SIGN_OUT, on_click=entry.sign_out, type="primary")
st.header(wording.ROLES_MAY)
allowed = {deed: one for deed, one in access.PERMISSIONS.items() if access.allowed(person, deed)}
rows = [{"deed": wording.DEEDS[deed], "reason": one.reason} for deed, one in allowed.items()]
parts.table(pd.DataFrame(rows), wording.DEED_COLUMNS)
with st.form("passcode", clear_on_submit=True):
    first = st.text_input(wording.NEW, type="password", autocomplete="new-password")
    again = st.text_input(wording.AGAIN, type="password", autocomplete="new-password")
    if st.form_submit_button(wording.CHANGE):
        try:
            require(first == again, "passcode", "two that differ", "the same twice")
            with open_ledger(source) as book:
                access.change(book, name, who=name, passcode=first)
        except AgingError as error:
            st.text(str(error))
        else:
            entry.sign_out()
            st.rerun()
