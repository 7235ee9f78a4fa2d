"""Findings are settled in the store, and nothing is lost by it."""

from __future__ import annotations

import pytest

from aging.checks import check, settle
from aging.cube import build
from aging.errors import CallError
from aging.ledger import open_ledger

ODD = "plain-1@2024-10-09"


@pytest.fixture
def book(rack, tmp_path):
    rack.changed(ODD, value=lambda now: now - 0.05)
    rack.changed("2025-04-09", value=lambda now: now - 0.05)
    with open_ledger(tmp_path / "a.sqlite", create=True) as book:
        book.append(rack.exposure, by="reader", source="test")
        yield book


def finding(book, reading_id):
    frame = check(book.read()).frame
    return frame.loc[frame["reading_id"] == reading_id, "finding"].iloc[0]


def settled(book, name, decision, **options):
    return settle(book, check(book.read()), name, decision, by="boss", reason="dew", **options)


def states(book, name):
    frame = check(book.read()).frame
    return set(frame.loc[frame["finding"] == name, "state"])


def test_confirmed_reopened_and_corrected(book):
    name = finding(book, ODD)
    assert settled(book, name, "confirmed") == 1
    frame = check(book.read())
    assert ODD not in set(frame.open["reading_id"])
    assert set(frame.frame.loc[frame.frame["finding"] == name, "state"]) == {"confirmed"}
    settled(book, name, "reopened")
    assert states(book, name) == {"open"}
    settled(book, name, "corrected", value=0.715)
    assert states(book, name) == set()
    readings = book.read().readings
    assert readings.loc[readings["supersedes"] == ODD, "value"].tolist() == [0.715]
    assert ODD in set(book.history()["reading_id"])
    assert book.read().settlements["decision"].tolist() == ["corrected"]


def test_a_whole_finding_is_excluded_from_the_series_and_kept_in_the_store(book):
    name = finding(book, "plain-2@2025-04-09")
    before = int(build(book.read())["value"].notnull().sum())
    count = settled(book, name, "excluded")
    assert count == 8
    assert states(book, name) == {"excluded"}
    assert int(build(book.read())["value"].notnull().sum()) == before - count
    assert len(book.read().readings) == 80


def test_what_cannot_be_settled(book):
    many, one = finding(book, "plain-2@2025-04-09"), finding(book, ODD)
    found = check(book.read())
    for name, decision, options, told in (
        ("nowhere", "confirmed", {}, "finding"),
        (one, "deleted", {}, "decision"),
        (one, "corrected", {}, "value"),
        (one, "confirmed", {"value": 0.7}, "value"),
        (many, "corrected", {"value": 0.7}, "one reading"),
    ):
        with pytest.raises(CallError, match=told):
            settle(book, found, name, decision, by="boss", reason="dew", **options)
    with pytest.raises(CallError, match="reason"):
        settle(book, found, one, "confirmed", by="boss", reason=" ")
    assert book.read().settlements.empty


def test_what_is_excluded_is_reopened_though_nothing_doubts_it_any_more(rack, tmp_path):
    twin = rack.exposure.readings.query("reading_id == @ODD").assign(reading_id="twin", value=0.5)
    rack.added("readings", *twin.to_dict("records"))
    with open_ledger(tmp_path / "a.sqlite", create=True) as book:
        book.append(rack.exposure, by="reader", source="test")
        frame = check(book.read()).frame
        name = frame.loc[frame["rule"] == "twice", "finding"].iloc[0]
        settled(book, name, "excluded")
        assert name not in set(check(book.read()).frame["finding"])
        assert settled(book, name, "reopened") == 2
        assert states(book, name) == {"open"}
        with pytest.raises(CallError, match="confirmed or excluded"):
            settled(book, name, "reopened")
