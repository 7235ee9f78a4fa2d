"""The gate before the pages: nobody is asked in an open store, everybody in one with people."""

from __future__ import annotations

import shutil
import time
from dataclasses import replace

import pytest
from argon2 import PasswordHasher
from rack_example import fill, stored
from streamlit.testing.v1 import AppTest

from aging import access
from aging.access import passcodes, sessions
from aging.errors import LedgerError
from aging.ledger import open_ledger
from dashboard import entry, keeping_words, log, log_words
from dashboard import entry_words as wording
from dashboard.launch import APP, SOURCE

CODE = "nine panels in the sun"


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    return fill(tmp_path_factory.mktemp("rack"))


@pytest.fixture
def store(filled, tmp_path, monkeypatch):
    copy = shutil.copy(filled, tmp_path / "trial.sqlite")
    monkeypatch.setenv(SOURCE, str(copy))
    hasher = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
    monkeypatch.setattr(passcodes, "_hasher", lambda: hasher)
    monkeypatch.setattr(entry, "cookies", dict)
    for cache in (entry.is_open, entry.sessions, log.known, log.sheet):
        cache.clear()
    return copy


@pytest.fixture
def team(store):
    with open_ledger(store) as book:
        access.add(book, "kai", ["keeper"], who=None, passcode=CODE)
        for name, role in (("anna", "technician"), ("rob", "reader"), ("fay", "formulator")):
            access.add(book, name, [role], who="kai", passcode=CODE)
    return store


def passing(monkeypatch):
    """The server's clock, in seconds, in a list of one."""
    at = [0.0]
    kept = access.Sessions(lambda: at[0])
    monkeypatch.setattr(entry, "sessions", lambda: kept)
    return at


def run(view="views/log.py"):
    app = AppTest.from_file(str(APP), default_timeout=120)
    app.run()
    return go(app, view) if view else app


def go(app, view):
    app.switch_page(view).run()
    assert not app.exception
    return app


def enter(app, name, code=CODE):
    app.text_input[0].set_value(name)
    app.text_input[1].set_value(code)
    app.button[-1].click().run()
    assert not app.exception
    return app


def texts(app):
    return "\n".join(str(one.value) for one in app.text)


def labels(app):
    return [one.label for one in (*app.button, *app.selectbox, *app.text_input)]


def test_every_deed_has_words():
    assert set(wording.DEEDS) == set(access.PERMISSIONS)


def test_an_open_store_asks_nobody(store):
    app = run("views/doubts.py")
    assert [one.value for one in app.title] == [keeping_words.DOUBTS]
    assert wording.NAME not in labels(app)
    assert entry.is_open(str(store))


@pytest.mark.usefixtures("store")
def test_an_open_store_has_no_page_of_a_person_and_says_why():
    app = run("")
    app.switch_page("views/me.py").run()
    assert [one.value for one in app.title] == [wording.ME]
    assert wording.OPEN_TO_ALL in texts(app)


@pytest.mark.usefixtures("team")
def test_every_page_waits_for_a_name_and_a_passcode():
    for view in ("", "views/doubts.py", "views/story.py", "views/overview.py"):
        app = run("")
        if view:
            app.switch_page(view).run()
        assert [one.value for one in app.title] == [wording.TITLE]
        assert len(app.dataframe) == 0
    assert "wrong" in texts(enter(app, "anna", "not this one"))
    assert "wrong" in texts(enter(app, "nobody"))
    assert [one.value for one in enter(app, "anna").title] != [wording.TITLE]


@pytest.mark.usefixtures("team")
def test_the_page_asked_for_opens_after_the_passcode():
    app = run("")
    app.switch_page("views/log.py").run()
    assert [one.value for one in app.title] == [wording.TITLE]
    assert [one.value for one in enter(app, "anna").title] == [log_words.TITLE]


def test_who_is_signed_in_is_the_operator_and_the_recorder(team):
    app = go(enter(run(""), "anna"), "views/log.py")
    assert log_words.OPERATOR not in labels(app)
    next(one for one in app.button_group if one.label == log_words.STATE).set_value("as_exposed")
    next(one for one in app.button_group if one.label == log_words.WETNESS).set_value("dry")
    next(one for one in app.selectbox if "Solar" in one.label).set_value("SR-1, G173")
    app.run()
    next(one for one in app.text_input if one.label == "Solar reflectance").set_value("0.71")
    next(one for one in app.button if one.label == log_words.SAVE).click().run()
    assert not app.exception
    (row,) = stored(team).to_dict("records")
    assert (row["operator"], row["recorded_by"]) == ("anna", "anna")
    with open_ledger(team) as book:
        last = access.deeds(book)[-1]
    assert (last.who, last.deed, last.on, last.through) == ("anna", "log", "P1", "page")


def test_roles_show_their_pages_and_buttons(team):
    reader = enter(run(""), "rob")
    reader.switch_page("views/log.py").run()
    assert log_words.TITLE not in [one.value for one in reader.title]
    assert wording.NOT_FOR_YOU in texts(reader)
    with open_ledger(team) as book:
        book.append(_doubtful(book), by="anna", source="test")
    assert not any(b.label == keeping_words.SETTLE for b in go(reader, "views/doubts.py").button)
    fay = go(enter(run(""), "fay"), "views/doubts.py")
    assert any(one.label == keeping_words.SETTLE for one in fay.button)
    assert keeping_words.BY not in labels(fay)
    assert f"{keeping_words.BY}: fay" in texts(fay)


def _doubtful(book):
    known = book.read()
    rows = known.readings.head(1).assign(
        value=0.95, reading_id="odd", read_on=f"{known.readings['read_on'].max()[:10]}T23:00"
    )
    return replace(known, readings=rows)


@pytest.mark.usefixtures("team")
def test_a_session_ends_idle_or_by_its_end_and_by_a_change_of_passcode(monkeypatch):
    at = passing(monkeypatch)
    app = go(enter(run(""), "anna"), "views/log.py")
    at[0] += sessions.IDLE + 1
    app.run()
    assert wording.ENDED in texts(app)
    app = go(enter(app, "anna"), "views/me.py")
    assert "anna: technician" in texts(app)
    next(one for one in app.button if one.label == wording.SIGN_OUT).click().run()
    assert [one.value for one in app.title] == [wording.TITLE]
    first, second = (enter(run(""), "anna") for _ in range(2))
    go(first, "views/me.py")
    for box in first.text_input:
        box.set_value("rain on the rack")
    next(one for one in first.button if one.label == wording.CHANGE).click().run()
    second.run()
    assert [app.title[0].value for app in (first, second)] == [wording.TITLE] * 2
    assert first.title[0].value != enter(first, "anna", "rain on the rack").title[0].value


def test_a_button_tapped_after_the_session_ended_stores_nothing(team, monkeypatch):
    at = passing(monkeypatch)
    app = go(enter(run(""), "anna"), "views/log.py")
    next(one for one in app.button_group if one.label == log_words.WHY_NOT).set_value("lost")
    app.run()
    at[0] += sessions.IDLE + 1
    next(one for one in app.button if one.label == log_words.SAY_SO).click().run()
    assert wording.ENDED in texts(app)
    with open_ledger(team) as book:
        assert book.read().events.empty


def test_who_is_ended_is_out_at_once(team):
    app = go(enter(run(""), "anna"), "views/log.py")
    with open_ledger(team) as book:
        access.end(book, "anna", who="kai")
    app.run()
    assert [one.value for one in app.title] == [wording.TITLE]


def test_the_gate_does_not_open_because_the_store_cannot_be_asked(team, monkeypatch):
    def lost(*_args, **_more):
        raise LedgerError("store: the server cannot be reached")

    monkeypatch.setattr(entry, "open_ledger", lost)
    app = run("")
    assert wording.CANNOT_ASK in texts(app)
    assert len(app.dataframe) == 0
    assert team.exists()


class Vouched(dict):
    """What Streamlit tells of who an identity provider vouches for."""

    to_dict = dict.copy


def test_an_identity_provider_lets_in_whom_the_store_knows(team, monkeypatch):
    with open_ledger(team) as book:
        access.add(book, "ola", ["formulator"], who="kai", sign_in="ola@lab.example")
    monkeypatch.setattr(entry, "provider", lambda: True)
    told = Vouched(is_logged_in=False)
    monkeypatch.setattr(entry.st, "user", told)
    app = run("")
    assert wording.PROVIDER in labels(app)
    told.update(is_logged_in=True, email="ola@lab.example", email_verified=False, iat=time.time())
    app.run()
    assert wording.UNKNOWN in texts(app)
    told.update(email_verified=True)
    go(app, "views/me.py")
    assert "ola: formulator" in texts(app)
    with open_ledger(team) as book:
        assert [(one.who, one.deed) for one in book.deeds()] == [("ola", "signed in")]


@pytest.mark.usefixtures("team")
def test_tables_leave_only_with_who_may_take_them_out():
    script = """
import pandas as pd
from dashboard import entry, parts
entry.require_open("", comes_in=entry.inside())
parts.download(pd.DataFrame({"a": [1]}), "some.csv", "Save")
"""
    for who, offered in (("rob", 0), ("fay", 1)):
        app = enter(AppTest.from_string(script, default_timeout=60).run(), who)
        assert len(app.get("download_button")) == offered
