"""One reading at a time: each once, from however many taps, threads and people."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor

import pytest

from aging.checks import check
from aging.conditions import comparable
from aging.errors import CallError
from aging.fieldwork.visit import (
    cannot_read,
    day_so_far,
    leave_out,
    progress,
    save,
    token_of,
)
from aging.ledger import open_ledger

ON = "2025-10-06"


def reading(panel="P1", value=0.71, operator="anna", **more) -> dict:
    return {
        "panel": panel, "property": "solar_reflectance", "value": value, "spots": 2,
        "spot_values": [value, value], "spot_sd": 0.0, "read_on": f"{ON}T09:41",
        "surface_state": "as_exposed", "surface_wetness": "dry", "instrument": "SR-1",
        "weighting": "G173 global tilt", "operator": operator, **more,
    }  # fmt: skip


@pytest.fixture
def book(store):
    with open_ledger(store) as opened:
        yield opened


def token(book, row):
    day = day_so_far(book, ON)
    return token_of(day, book.label, row["panel"], row["property"],
                    surface_state=row["surface_state"], operator=row["operator"])  # fmt: skip


def put(book, exposure, row, **more):
    return save(book, row, token(book, row), known=exposure, **more)


def test_a_second_tap_on_the_same_form_stores_nothing(book, exposure):
    row = reading()
    form = token(book, row)
    later = {**row, "read_on": f"{ON}T09:44"}  # the answer was lost, and it was tapped again
    states = [save(book, one, form, known=exposure).state for one in (row, row, later)]
    assert states == ["stored", "already", "already"]
    assert day_so_far(book, ON).readings["read_on"].tolist() == [f"{ON}T09:41:00"]
    assert token(book, row) != form


def test_the_same_form_from_many_threads_counts_once(store, exposure):
    row = reading()
    with open_ledger(store) as book:
        form = token(book, row)

    def tap(minute):
        with open_ledger(store) as mine:
            one = {**row, "read_on": f"{ON}T09:{minute}"}
            return save(mine, one, form, known=exposure).state

    with ThreadPoolExecutor(4) as people:
        states = list(people.map(tap, range(10, 16)))
    assert sorted(states) == ["already"] * 5 + ["stored"]
    with open_ledger(store) as book:
        assert len(day_so_far(book, ON).readings) == 1


def test_what_was_typed_over_a_saved_reading_is_not_lost_silently(book, exposure):
    row = reading()
    form = token(book, row)
    save(book, row, form, known=exposure)
    told = save(book, reading(value=0.69), form, known=exposure)
    assert (told.state, told.others["value"].tolist()) == ("differs", [0.71])
    assert day_so_far(book, ON).readings["value"].tolist() == [0.71]


def test_two_people_on_one_panel_are_asked(book, exposure):
    assert put(book, exposure, reading()).state == "stored"
    theirs = reading(value=0.70, operator="bert")
    told = put(book, exposure, theirs)
    assert (told.state, told.others["operator"].tolist()) == ("asks", ["anna"])
    assert put(book, exposure, theirs, another=True).state == "stored"
    assert sorted(day_so_far(book, ON).readings["value"]) == [0.70, 0.71]
    washed = reading(value=0.80, surface_state="washed", operator="bert")
    assert put(book, exposure, washed).state == "stored"


def test_two_people_at_once_lose_nothing(store, exposure):
    def read(operator):
        with open_ledger(store) as mine:
            return [
                put(mine, exposure, reading(panel, operator=operator), another=True).state
                for panel in ("P1", "P2")
            ]

    with ThreadPoolExecutor(2) as people:
        assert list(people.map(read, ("anna", "bert"))) == [["stored"] * 2] * 2
    with open_ledger(store) as book:
        readings = day_so_far(book, ON).readings
        assert book.verify().whole
    assert readings.groupby("panel")["operator"].nunique().tolist() == [2, 2]


def test_a_correction_replaces_and_keeps(book, exposure):
    first = put(book, exposure, reading()).reading_id
    right = reading(value=0.72, supersedes=first, reason="misread")
    form = token(book, right)
    assert save(book, right, form, known=exposure).state == "stored"
    assert save(book, right, form, known=exposure).state == "already"
    day = day_so_far(book, ON)
    assert day.readings["value"].tolist() == [0.72]
    assert day.ids == {first, form}
    other = reading(value=0.5, operator="bert", supersedes=first, reason="mine is right")
    told = put(book, exposure, other)
    assert (told.state, [one.code for one in told.findings]) == ("refused", ["superseded-twice"])


def test_taken_back_it_no_longer_counts_and_can_be_read_again(book, exposure):
    first = put(book, exposure, reading()).reading_id
    for _ in range(2):
        leave_out(book, first, reason="wrong panel", by="anna")
    assert day_so_far(book, ON).readings.empty
    read = book.read()
    assert first in set(read.readings["reading_id"])
    assert first not in set(comparable(read)[0]["reading_id"])
    assert len(read.settlements) == 1
    assert put(book, exposure, reading(value=0.74)).state == "stored"
    with pytest.raises(CallError, match="why it does not count"):
        leave_out(book, first, reason=" ", by="anna")


def test_an_answer_given_on_the_rack_settles_the_question(book, exposure):
    kept = [{"rule": "fell-fast", "reason": "read again, same value"}]
    row = reading(value=0.55, kept=kept)
    assert put(book, exposure, row, beside={"sun_deg": 31.2}).state == "stored"
    found = check(book.read(), since=ON).frame
    mine = found[(found["panel"] == "P1") & (found["rule"] == "fell-fast")]
    assert mine["state"].tolist() == ["confirmed"]
    extra = json.loads(day_so_far(book, ON).readings["extra"].iloc[0])
    assert extra["sun_deg"] == 31.2
    assert "fell-fast" in extra["kept"]


@pytest.mark.parametrize(
    ("change", "code"),
    [({"surface_wetness": "wet"}, "not-allowed"), ({"surface_state": ""}, "missing-value"),
     ({"value": 71, "spot_values": [71], "spots": 1}, "percent-for-fraction"),
     ({"panel": "P99"}, "unknown-panel"), ({"read_on": "2999-01-01"}, "future-date")],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_the_reason(book, exposure, change, code):
    told = put(book, exposure, reading(**change))
    assert (told.state, told.findings[0].code) == ("refused", code)
    assert book.history(since=ON).empty


def test_what_is_left_of_the_round(book, exposure, sheet):
    put(book, exposure, reading())
    put(book, exposure, reading("F1", 0.85))
    for _ in range(2):
        assert cannot_read(book, "P2", "lost", on=ON, by="anna", remark="", known=exposure) == ()
    assert cannot_read(book, "P2", "stolen", on=ON, by="anna", remark="", known=exposure)
    table = progress(sheet, day_so_far(book, ON)).set_index("panel")
    assert table["state"].to_dict() == {
        "F1": "read", "P1": "part", "P2": "not read", "P5": "to read", "P10": "to read",
        "P3": "to read",
    }  # fmt: skip
    assert table.loc["P1", ["read", "of"]].tolist() == [1, 2]
    assert len(day_so_far(book, ON).events) == 1
