"""Who is at the page: the gate before every page of a store that knows its people.

A session lives in the server's memory; its token lies in the page's session there and in a cookie
that no script can read, so that a label's code, which opens a new tab, asks for no passcode again.
A store without people asks nobody. Where the store cannot be asked, who was let in stays in: the
form they fill must not go.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import streamlit as st
from starlette.requests import Request
from starlette.responses import Response

from aging import access
from aging.access import Person
from aging.errors import AgingError
from aging.ledger import Ledger, open_ledger
from aging.source import is_store
from dashboard import data
from dashboard import entry_words as wording

TOKEN, TICKET, SIGNED_IN = "entry token", "entry ticket", "entry name"
LET_IN, LOST = "entry open", "entry lost"
OPEN_SECONDS = 10
VIEWS = {"log": "log", "load": "log"}  # pages that are of no use without a deed


@st.cache_resource(show_spinner=False)
def sessions() -> access.Sessions:
    """Sessions of this server."""
    return access.Sessions()


@st.cache_resource(ttl=OPEN_SECONDS, show_spinner=False)
def is_open(source: str) -> bool:
    """Whether a source had no people some seconds ago; AgingError where it cannot be asked."""
    if not is_store(source) or ("://" not in source and not Path(source).exists()):
        return True
    with open_ledger(source) as book:
        return not access.people(book)


def inside() -> bool:
    """Whether who is there may come in; `require_open` asks who they are where not."""
    source = data.named_source() or ""
    st.session_state[LOST] = None
    try:
        comes_in = is_open(source) or _known(source)
    except AgingError as error:
        if st.session_state.get(LET_IN) == source and (name() is None or _session()):
            return True
        st.session_state[LOST] = str(error)
        return False
    if comes_in:
        st.session_state[LET_IN] = source
        _keep_cookie()
    else:
        st.session_state[LET_IN] = st.session_state[TOKEN] = None
    return comes_in


def name() -> str | None:
    """Who is signed in; None in an open store."""
    return st.session_state.get(SIGNED_IN)


def may(deed: str) -> bool:
    """Whether the page may offer a deed; `doing` decides when it is done."""
    session = _session() if name() else None
    return name() is None or (session is not None and access.allowed(session, deed))


@contextmanager
def doing(source: str, deed: str, on: str = "") -> Iterator[Ledger]:
    """The open store, for one deed of who is signed in; AgingError where it may not be."""
    session = _session()  # a button's call comes before the gate looks at the session again
    who = session.name if session else None
    with open_ledger(source) as book, access.doing(book, who, deed, on, through="page"):
        yield book


def taken_out(what: str) -> None:
    """Keep that a table was taken out of the page."""
    if name():
        with doing(data.named_source() or "", "take out", what):
            pass


def opens(view: str) -> bool:
    """Whether a page is for who is there."""
    return bool(name()) if view == "me" else view not in VIEWS or may(VIEWS[view])


def require_open(view: str, *, comes_in: bool) -> None:
    """Ask who is there where they did not come in; end a page that is not for them."""
    if not comes_in:
        st.title(wording.TITLE)
        if reason := st.session_state[LOST]:
            st.text(f"{wording.CANNOT_ASK}\n{reason}")
        else:
            _form(data.named_source() or "")
        st.stop()
    if not opens(view):
        if name():
            st.text(wording.NOT_FOR_YOU)
        else:  # the page of a person, where there is none
            st.title(wording.ME)
            st.text(wording.OPEN_TO_ALL)
        st.stop()


def sign_out() -> None:
    """End the session, at the identity provider's cookie too."""
    sessions().end(_token())
    for key in (TOKEN, TICKET, SIGNED_IN, LET_IN):
        st.session_state.pop(key, None)
    if provider() and st.user.get("is_logged_in"):
        st.logout()


def provider() -> bool:
    """Whether an identity provider is named in the server's secrets."""
    return bool(st.secrets.load_if_toml_exists() and "auth" in st.secrets)


def _cookie() -> str:
    return f"aging_{st.get_option('server.port')}"


def cookies() -> Mapping[str, str]:
    """What the browser sent when it opened the page."""
    return st.context.cookies


def _token() -> str:
    return str(st.session_state.get(TOKEN) or "")


def _session() -> Person | None:
    return sessions().person(_token())


def _known(source: str) -> bool:
    """Whether a session of a person whom the store still knows by the same passcode goes on."""
    if not _token():
        st.session_state[TOKEN] = cookies().get(_cookie())
    with open_ledger(source) as book:
        known, person = access.people(book), _session()
        if person is None and provider() and st.user.get("is_logged_in"):
            person = access.vouched(book, st.user.to_dict())
            if person:
                _begin(person)
        now = known.get(person.name) if person else None
        if now is None or person is None or now.passcode != person.passcode:
            return False
        if now != person:
            sessions().renew(_token(), now)
        st.session_state[SIGNED_IN] = now.name
        return True


def _begin(person: Person) -> None:
    st.session_state[TOKEN] = token = sessions().begin(person)
    st.session_state[TICKET] = sessions().ticket(token)


def _keep_cookie() -> None:
    """Let the browser trade its ticket; a page comes by a way on which no cookie can be set."""
    ticket = st.session_state.get(TICKET)
    if ticket and cookies().get(_cookie()) != _token():
        st.html(wording.COOKIE.format(ticket=ticket), unsafe_allow_javascript=True)


async def hand_cookie(request: Request) -> Response:
    """Answer a ticket with the session's cookie, which scripts and other sites never get to see."""
    answer = Response(status_code=204)
    if token := sessions().trade(request.path_params["ticket"]):
        secure = request.headers.get("origin", "").startswith("https:")
        answer.set_cookie(_cookie(), token, secure=secure, httponly=True, samesite="strict")
    return answer


def _form(source: str) -> None:
    if st.session_state.pop(SIGNED_IN, None):
        st.text(wording.ENDED)
    if provider():
        if st.user.get("is_logged_in"):
            st.text(wording.UNKNOWN)
            st.button(wording.SIGN_OUT, on_click=sign_out)
        else:
            st.button(wording.PROVIDER, on_click=st.login, type="primary")
    with st.form("sign in", clear_on_submit=True, width=480):
        who = st.text_input(wording.NAME, autocomplete="username")
        passcode = st.text_input(wording.PASSCODE, type="password", autocomplete="current-password")
        if st.form_submit_button(wording.SIGN_IN, type="primary"):
            try:
                with open_ledger(source) as book:
                    _begin(access.sign_in(book, who.strip(), passcode, through="page"))
            except AgingError as error:
                st.text(str(error))
            else:
                st.rerun()
    st.text(wording.HELP)
