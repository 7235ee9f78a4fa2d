"""Proving who one is: wrong tries are slowed down, sessions end, nothing of a passcode is kept."""

from __future__ import annotations

import time
from datetime import datetime, timedelta

import pytest

from aging import access
from aging.access import passcodes, sessions, signing_in, times
from aging.errors import AccessError
from aging.ledger import open_ledger

CODE, WRONG = "nine panels in the sun", "ten panels in the sun"


@pytest.fixture
def clock(monkeypatch):
    """Seconds from now on at which the store believes to be."""

    class Moved(datetime):
        ahead = 0.0

        @classmethod
        def now(cls, tz=None):
            return datetime.now(tz) + timedelta(seconds=cls.ahead)

    monkeypatch.setattr(times, "datetime", Moved)
    return Moved


@pytest.fixture
def book(tmp_path, quick):  # noqa: ARG001
    with open_ledger(tmp_path / "s.sqlite", create=True) as made:
        access.add(made, "kai", ["keeper"], who=None, passcode=CODE)
        access.add(made, "tess", ["technician"], who="kai", passcode=CODE)
        access.add(made, "rob", ["reader"], who="kai")
        yield made


def miss(book, name="kai", code=WRONG):
    with pytest.raises(AccessError) as told:
        access.sign_in(book, name, code, through="page")
    return str(told.value)


def test_the_right_passcode_opens_and_the_wrong_tells_nothing(book):
    assert access.sign_in(book, "kai", CODE, through="page").name == "kai"
    said = {miss(book, name, code) for name, code in
            (("kai", WRONG), ("kai", ""), ("nobody", CODE), ("rob", CODE), ("", CODE))}  # fmt: skip
    assert len(said) == 1
    told = str(book.deeds())
    assert CODE not in told
    assert WRONG not in told
    assert "nobody" not in told  # it may be a passcode typed in the wrong place


def test_an_unknown_name_costs_a_digest_too(book, monkeypatch):
    asked = []
    monkeypatch.setattr(signing_in, "fits", lambda code, kept: bool(asked.append((code, kept))))
    miss(book, "nobody")
    miss(book, "rob")
    assert [kept for _, kept in asked] == [None, None]


def test_a_digest_is_argon2id_at_the_recommended_cost():
    kept = passcodes.digest(CODE)
    # RFC 9106, section 4: second recommended option, 64 MiB, 3 passes, 4 lanes
    assert kept.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert kept != passcodes.digest(CODE)
    assert passcodes.fits(CODE, kept)
    assert not passcodes.fits(WRONG, kept)
    assert not passcodes.fits(CODE, None)


def test_each_wrong_try_after_the_third_doubles_the_wait(book, clock):
    for _ in range(3):
        assert "wrong" in miss(book)
    for wait in (5, 10, 20, 40):
        assert "try again in" in miss(book, code=CODE)  # the right one has to wait too
        clock.ahead += wait - 1
        assert "try again in" in miss(book)
        clock.ahead += 1.5
        assert "is wrong" in miss(book)
    assert access.sign_in(book, "tess", CODE, through="page").name == "tess"  # she need not wait
    clock.ahead += 900
    access.sign_in(book, "kai", CODE, through="page")
    assert "is wrong" in miss(book)


def test_tries_on_many_names_slow_all_down(book, clock):
    for number in range(20):
        assert "is wrong" in miss(book, f"guess {number}")
    assert "too many" in miss(book, "tess", CODE)
    clock.ahead += 31
    access.sign_in(book, "tess", CODE, through="page")


def test_a_restart_does_not_give_new_tries(book, tmp_path):
    for _ in range(3):
        miss(book)
    with open_ledger(tmp_path / "s.sqlite") as again:
        assert "too many" in miss(again, code=CODE)


def test_a_session_ends_when_idle_and_after_a_day_however_busy():
    at = [0.0]
    kept = sessions.Sessions(lambda: at[0])
    someone = access.Person("kai", frozenset({"keeper"}))
    idle, busy = kept.begin(someone), kept.begin(someone)
    assert idle != busy
    assert len(idle) >= 43  # 256 bits
    for minute in range(0, 12 * 60, 10):
        at[0] = minute * 60
        assert kept.person(busy) is someone
    assert kept.person(idle) is None
    at[0] = 12 * 3600
    assert kept.person(busy) is None
    token = kept.begin(someone)
    kept.end(token)
    assert kept.person(token) is None
    assert kept.person("made up") is None


def test_a_provider_is_believed_for_a_subject_or_a_verified_address(book):
    access.change(book, "tess", who="kai", sign_in="tess@lab.example")
    access.change(book, "rob", who="kai", sign_in="248289761001")
    at = {"iat": time.time() - 60}
    told = at | {"email": "tess@lab.example", "email_verified": True, "sub": "1"}
    assert access.vouched(book, told).name == "tess"
    assert access.vouched(book, told | {"email_verified": False}) is None
    assert access.vouched(book, at | {"email": "tess@lab.example"}) is None
    assert access.vouched(book, at | {"sub": "248289761001"}).name == "rob"
    assert access.vouched(book, at) is None
    assert access.vouched(book, told | {"iat": time.time() - 13 * 3600}) is None
    assert access.vouched(book, told | {"iat": None}) is None


def test_who_has_no_passcode_is_let_in_by_none_not_even_the_stand_in(monkeypatch):
    monkeypatch.setattr(passcodes, "_nobody", lambda: passcodes.digest("the stand-in itself"))
    assert passcodes.fits("the stand-in itself", passcodes.digest("the stand-in itself"))
    assert not passcodes.fits("the stand-in itself", None)
