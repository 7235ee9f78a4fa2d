from __future__ import annotations

import json
from copy import deepcopy
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from aging.checks import check
from aging.errors import SourceError
from aging.fieldwork import read_round
from aging.fieldwork.round_file import COLUMNS, MOST_BYTES
from aging.ledger import open_ledger

IDS = [f"0f0e0d0c-0000-4000-8000-00000000000{place}" for place in range(5)]


def reading(place=0, panel="P1", spots=(0.71, 0.70, 0.69), **more):
    return {
        "reading_id": IDS[place], "panel": panel, "property": "solar_reflectance",
        "value": round(sum(spots) / len(spots), 12), "spot_values": list(spots), "spot_sd": 0.01,
        "spots": len(spots), "read_on": "2025-10-06T09:41", "surface_state": "as_exposed",
        "surface_wetness": "dry", "instrument": "SR-1", "weighting": "G173 global tilt",
        "operator": "anna", "remark": "", "kept": [], "edited": 0, **more,
    }  # fmt: skip


def filed(*readings, not_read=(), **more) -> bytes:
    file = {"format": "round-file", "version": 1, "readings": readings, "not_read": not_read}
    return json.dumps({**file, **more}).encode()


def taken(store, data):
    with open_ledger(store) as book:
        read = read_round(data, book.read())
        receipts = {one.sheet: one for one in book.append(read.exposure, by="b", source="round")}
        return read, receipts, book.read()


def test_readings_come_in_whole(exposure):
    read = read_round(filed(reading(contaminated_spot_values=[0.4])), exposure)
    assert read.findings == ()
    (row,) = read.exposure.readings.to_dict("records")
    assert (row["value"], row["spots"], row["spot_values"]) == (0.7, 3, "0.71 0.7 0.69")
    assert (row["read_on"], row["surface_wetness"]) == ("2025-10-06T09:41:00", "dry")
    assert json.loads(row["extra"])["contaminated_spot_values"] == 0.4
    assert read.tallies[0].rows == read.tallies[0].accepted == 1


def test_a_file_taken_twice_counts_once(store):
    lost = {"panel": "P3", "reason": "lost", "at": "2025-10-06T10:02", "remark": "clamp empty"}
    data = filed(reading(kept=[{"rule": "spots", "reason": "streak"}]), not_read=[lost])
    _, first, once = taken(store, data)
    _, again, twice = taken(store, data)
    stored = {name: receipt.stored for name, receipt in first.items() if receipt.stored}
    assert stored == {"readings": 1, "events": 1, "settlements": 1}
    assert not any(receipt.stored or receipt.refused for receipt in again.values())
    assert len(twice.readings) == len(once.readings)
    (event,) = twice.events[twice.events["panel"] == "P3"].to_dict("records")
    assert (event["kind"], event["remark"]) == ("loss", "lost: clamp empty")


def test_what_the_desk_decided_later_stands(store):
    data = filed(reading(kept=[{"rule": "spots", "reason": "streak"}]))
    _, _, exposure = taken(store, data)
    reopened = exposure.settlements.assign(decision="reopened")
    nothing = read_round(filed(), exposure).exposure
    with open_ledger(store) as book:
        book.append(replace(nothing, settlements=reopened), by="desk", source="desk")
    _, receipts, exposure = taken(store, data)
    assert exposure.settlements["decision"].tolist() == ["reopened"]
    assert receipts["settlements"].rows == 0


def test_a_question_answered_on_the_rack_is_not_asked_again(store):
    rows = [reading(0, "P1", (0.55, 0.54, 0.56)), reading(1, "P2", (0.55, 0.54, 0.56))]
    rows[0]["kept"] = [{"rule": "fell-fast", "reason": "read again, same value"}]
    _, _, exposure = taken(store, filed(*rows))
    found = check(exposure, since="2025-10-06").frame
    states = found[found["rule"] == "fell-fast"].set_index("panel")["state"]
    assert states.to_dict() == {"P1": "confirmed", "P2": "open"}


def test_a_correction_takes_the_place_of_what_was_handed_in(store):
    right = reading(1, spots=(0.72, 0.72, 0.72), supersedes=IDS[0], reason="misread")
    taken(store, filed(reading()))
    _, receipts, exposure = taken(store, filed(reading(), right))
    assert (receipts["readings"].stored, receipts["readings"].already) == (1, 1)
    mine = exposure.readings[exposure.readings["read_on"].str.startswith("2025-10-06")]
    assert mine["value"].tolist() == [0.72]


def test_an_edited_file_does_not_change_what_is_stored(store):
    taken(store, filed(reading()))
    _, receipts, exposure = taken(store, filed(reading(spots=(0.8, 0.8, 0.8))))
    assert [one.code for one in receipts["readings"].findings] == ["conflicts-with-ledger"]
    assert 0.8 not in exposure.readings["value"].tolist()


@pytest.mark.parametrize(
    ("change", "code", "column"),
    [
        ({"panel": "P99"}, "unknown-panel", "panel"),
        ({"value": 0.9}, "not-allowed", "value"),
        ({"value": float("nan"), "spot_values": None}, "missing-value", "value"),
        ({"value": 71, "spot_values": None}, "percent-for-fraction", "value"),
        ({"value": "O.71", "spot_values": None}, "not-a-number", "value"),
        ({"value": True, "spot_values": None}, "not-a-number", "value"),
        ({"value": {"of": 1}}, "not-a-number", "value"),
        ({"spot_values": [0.7, "x"]}, "not-a-number", "spot_values"),
        ({"spot_values": [[0.7]]}, "not-a-number", "spot_values"),
        ({"surface_state": ""}, "missing-value", "surface_state"),
        ({"surface_state": "polished"}, "not-allowed", "surface_state"),
        ({"surface_wetness": None}, "missing-value", "surface_wetness"),
        ({"surface_wetness": "wet"}, "not-allowed", "surface_wetness"),
        ({"reading_id": "1"}, "not-allowed", "reading_id"),
        ({"reading_id": None}, "missing-value", "reading_id"),
        ({"read_on": "6 Oct"}, "not-a-date", "read_on"),
        ({"read_on": "2999-10-06T10:00"}, "future-date", "read_on"),
        ({"remark": "x" * 5000}, "bad-text", "remark"),
        ({"remark": "\ud800"}, "bad-text", "remark"),
        ({"operator": "x" * 500}, "bad-text", "operator"),
        ({"property": "sparkle"}, "unknown-property", "property"),
        ({"supersedes": IDS[4]}, "missing-value", "reason"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(exposure, change, code, column):
    read = read_round(filed(reading(1), {**reading(), **change}), exposure)
    found = {(one.code, one.row, one.column) for one in read.findings}
    assert (code, 2, column) in found
    assert all(one.allowed and one.action for one in read.findings)
    assert read.exposure.readings["reading_id"].tolist() == [IDS[1]]


def test_an_id_that_stands_twice_counts_once(exposure):
    read = read_round(filed(reading(), reading(), reading(panel="P2")), exposure)
    assert [one.code for one in read.findings] == ["duplicate", "conflicting-duplicate"]
    assert len(read.exposure.readings) == 1


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ({"panel": "P99"}, "unknown-panel"), ({"reason": "stolen"}, "not-allowed"),
        ({"reason": "wash"}, "not-allowed"), ({"at": ""}, "missing-value"),
        ({"panel": None}, "missing-value"), ({"remark": "x" * 5000}, "bad-text"),
    ],
)  # fmt: skip
def test_a_panel_that_was_not_read_is_checked_too(exposure, row, code):
    good = {"panel": "P1", "reason": "not found", "at": "2025-10-06T10:02", "remark": ""}
    read = read_round(filed(not_read=[good, {**good, **row}]), exposure)
    assert [(one.code, one.row) for one in read.findings] == [(code, 2)]
    assert read.exposure.events["kind"].tolist() == ["other"]


@pytest.mark.parametrize(
    "data",
    [
        b"", b"\xff\xfe\x00", b"null", b"[]", b"{}", b"[" * 100_000, b'{"format": ' + b"9" * 5000,
        filed(format="other"), filed(version=2), filed(version="1"), filed(not_read=None),
        filed(readings={}), b" " * (MOST_BYTES + 1),
        filed(readings=[0] * 20_001),
    ],
    ids=lambda data: f"{data[:12]!r} {len(data)}",
)  # fmt: skip
def test_no_round_file_is_said_to_be_none(exposure, data):
    with pytest.raises(SourceError, match=r"round file: .*(sheet|file)"):
        read_round(data, exposure)


def test_a_file_cut_off_anywhere_brings_nothing(exposure):
    data = filed(reading(), reading(1, "P2"))
    for end in range(0, len(data) - 1, 7):
        with pytest.raises(SourceError, match="no whole JSON file"):
            read_round(data[:end], exposure)


def test_a_missing_file_is_told(exposure, tmp_path):
    with pytest.raises(SourceError, match=r"gone\.json: cannot be read"):
        read_round(tmp_path / "gone.json", exposure)


KEPT = st.lists(
    st.fixed_dictionaries(
        {"rule": st.sampled_from(["spots", "rose"]), "reason": st.text(max_size=9) | st.none()}
    ),
    max_size=2,
)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=30)
    | st.sampled_from(["P1", "wet", "lost", IDS[0], "0,7", "kept", "\ud800", "=1+1"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner,
                                                                max_size=3),
    max_leaves=6,
)  # fmt: skip
BAD = st.dictionaries(st.sampled_from([*COLUMNS, "kept", "edited", "contaminated_spot_values"]),
                      KEPT | JSON, max_size=4)  # fmt: skip


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(BAD | JSON, max_size=8), st.lists(JSON, max_size=2))
def test_no_edit_breaks_it_and_no_row_is_unaccounted_for(exposure, changes, gone):
    rows = [{**deepcopy(reading(place % 5)), **change} if isinstance(change, dict) else change
            for place, change in enumerate(changes)]  # fmt: skip
    read = read_round(filed(*rows, not_read=gone), exposure)
    counts = {tally.sheet: tally.rows for tally in read.tallies}
    assert (counts["readings"], counts.get("events", 0)) == (len(rows), len(gone))
    assert all(tally.rows == tally.accepted + tally.refused for tally in read.tallies)
    assert len(read.exposure.readings) == read.tallies[0].accepted
    refused = {(one.sheet, one.row) for one in read.findings if one.severity == "block"}
    assert len(refused) == sum(tally.refused for tally in read.tallies)
