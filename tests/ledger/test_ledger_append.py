from __future__ import annotations

import dataclasses
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from ledger_example import (
    RECORDED,
    assert_equal,
    counts,
    example,
    frame,
    only,
    ordered,
    reading,
    with_readings,
)

from aging.errors import CallError, LedgerError
from aging.ledger import append as append_room
from aging.ledger import open_ledger
from aging.records import SHEETS, empty_frame


@pytest.fixture
def ledger(ledger_url):
    with open_ledger(ledger_url, create=True) as opened:
        yield opened


def load(ledger, exposure, **more):
    return ledger.append(exposure, by="Ada", source="a folder", **more)


def code_of(receipts):
    return [finding.code for receipt in receipts for finding in receipt.findings]


def test_an_empty_store_reads_as_empty_frames(ledger):
    assert ledger.revision == 0
    for sheet, rows in ledger.read().frames():
        pd.testing.assert_frame_equal(rows, empty_frame(sheet))
    pd.testing.assert_frame_equal(ledger.history(), empty_frame("readings"))


def test_facts_come_back_to_the_bit(ledger):
    before = datetime.now(UTC)
    receipts = load(ledger, example())
    back = ledger.read()
    assert_equal(back, example(), but=RECORDED)
    assert {sheet: rows.dtypes.to_dict() for sheet, rows in back.frames()} == {
        sheet: empty_frame(sheet).dtypes.to_dict() for sheet in SHEETS
    }
    assert [receipt.sheet for receipt in receipts] == list(SHEETS)
    assert all(receipt.stored == receipt.rows for receipt in receipts)
    assert set(back.readings["recorded_by"]) == {"Ada"}
    moments = pd.to_datetime(back.readings["recorded_at"])
    assert moments.between(before, before + timedelta(minutes=5)).all()
    assert ledger.revision == 1


def test_random_numbers_and_text_come_back_to_the_bit(ledger):
    draw = np.random.default_rng(20)
    alphabet = np.array(list("aé漢\U0001f600 '\"%,;\t\n\\{}\x7f~\u200b"))
    words = ["x" + "".join(draw.choice(alphabet, 12)) + "x" for _ in range(300)]
    values = draw.standard_normal(300) * 10.0 ** draw.integers(-300, 300, 300)
    values[:3] = np.inf, -np.inf, 5e-324
    rows = [
        reading("P", "2023-01-01", value, remark=word, reading_id=f"{number}{word}")
        for number, (word, value) in enumerate(zip(words, values, strict=True))
    ]
    load(ledger, only(readings=frame("readings", *rows)))
    assert_equal(ledger.read(), only(readings=frame("readings", *rows)), but=RECORDED)


def test_loading_twice_stores_nothing_twice(ledger):
    load(ledger, example())
    first = ledger.read()
    receipts = load(ledger, example())
    assert counts(receipts) == {sheet: (0, 0, len(rows), 0) for sheet, rows in example().frames()}
    assert ledger.revision == 1
    assert_equal(ledger.read(), first)


def test_a_grown_folder_stores_only_what_is_new(ledger):
    load(ledger, example())
    later = reading("P3", "2023-05-01", 0.79)
    grown = pd.concat([frame("readings", later), example().readings], ignore_index=True)
    receipts = load(ledger, dataclasses.replace(example(), readings=grown))
    assert counts(receipts)["readings"] == (1, 0, 5, 0)
    assert ledger.revision == 2


def test_chunks_change_nothing(ledger, monkeypatch):
    monkeypatch.setattr(append_room, "CHUNK", 2)
    twice = pd.concat([example().readings] * 2, ignore_index=True)
    receipts = load(ledger, dataclasses.replace(example(), readings=twice))
    assert counts(receipts)["readings"] == (5, 0, 5, 0)
    assert_equal(ledger.read(), example(), but=RECORDED)


def test_a_changed_fact_becomes_a_new_version(ledger):
    load(ledger, example())
    panels = example().panels
    panels.loc[panels["panel"] == "P2", "closed_on"] = "2024-01-10"
    events = example().events
    events["remark"] = ["fine dust", np.nan, np.nan]
    receipts = load(ledger, only(panels=panels, events=events))
    assert counts(receipts) == {"panels": (1, 1, 2, 0), "events": (2, 2, 1, 0)}
    pd.testing.assert_frame_equal(ordered("panels", ledger.read().panels), panels)
    pd.testing.assert_frame_equal(
        ordered("events", ledger.read().events), ordered("events", events)
    )
    assert counts(load(ledger, only(panels=panels, events=events))) == {
        "panels": (0, 0, 3, 0), "events": (0, 0, 3, 0),
    }  # fmt: skip
    assert counts(load(ledger, only(panels=example().panels)))["panels"] == (1, 1, 2, 0)
    assert_equal(only(panels=ledger.read().panels), only(panels=example().panels))


def test_a_reading_that_differs_from_the_stored_one_is_refused(ledger):
    load(ledger, example())
    changed = reading("P3", "2023-02-01", 0.58, remark="typed anew")
    receipts = load(ledger, with_readings(example(), changed, reading("P3", "2023-06-01", 0.7)))
    assert counts(receipts)["readings"] == (1, 0, 0, 1)
    (finding,) = receipts[list(SHEETS).index("readings")].findings
    assert (finding.code, finding.severity, finding.column) == (
        "conflicts-with-ledger", "block", "value",
    )  # fmt: skip
    assert finding.seen == f"{changed['reading_id']}: value 0.58, remark typed anew"
    assert finding.allowed == "as stored: value 0.85, remark (blank)"
    assert "correction" in finding.action
    stored = ledger.read().readings.set_index("reading_id")["value"]
    assert stored[changed["reading_id"]] == 0.85


def test_two_rows_of_one_key_in_a_load_keep_the_first(ledger):
    one, other = reading("P1", "2023-02-01", 0.8), reading("P1", "2023-02-01", 0.7)
    sites = frame("sites", {"site": "K", "name": "x"}, {"site": "K", "name": "y"}, {"site": "K"})
    load_once = only(readings=frame("readings", one, other, one), sites=sites)
    assert counts(load(ledger, load_once)) == {"sites": (1, 0, 0, 2), "readings": (1, 0, 1, 1)}
    receipts = load(ledger, load_once)
    assert counts(receipts) == {"sites": (0, 0, 1, 2), "readings": (0, 0, 2, 1)}
    assert code_of(receipts) == ["conflicts-with-ledger"] * 3
    assert list(ledger.read().sites["name"]) == ["x"]


def corrections(*chain):
    return [
        reading("P1", "2023-02-01", value, reading_id=new, supersedes=old, reason=reason)
        for new, old, value, reason in chain
    ]


def test_corrections_in_a_load_stand_in_any_order(ledger):
    first = reading("P1", "2023-02-01", 0.3, reading_id="r1")
    second, third = corrections(("r2", "r1", 0.7, "typo"), ("r3", "r2", 0.8, "typo again"))
    receipts = load(ledger, only(readings=frame("readings", third, second, first)))
    assert counts(receipts)["readings"] == (3, 0, 0, 0)
    assert list(ledger.read().readings["reading_id"]) == ["r3"]
    assert sorted(ledger.history()["reading_id"]) == ["r1", "r2", "r3"]


def test_corrections_that_cannot_stand_are_refused(ledger):
    load(ledger, only(readings=frame("readings", reading("P1", "2023-02-01", 0.3, reading_id="r"))))
    chain = corrections(
        ("a", "r", 0.8, "typo"), ("b", "r", 0.7, "typo"), ("c", "nowhere", 0.7, "typo"),
        ("d", "c", 0.7, "of a refused one"), ("e", "a", 0.7, np.nan), ("f", "g", 0.7, "in a ring"),
        ("g", "f", 0.7, "in a ring"), ("h", "h", 0.7, "itself"),
    )  # fmt: skip
    receipts = load(ledger, only(readings=frame("readings", *chain)))
    assert counts(receipts)["readings"] == (1, 0, 0, 7)
    assert code_of(receipts) == [
        "superseded-twice", "unknown-supersedes", "unknown-supersedes", "missing-reason",
        "unknown-supersedes", "unknown-supersedes", "unknown-supersedes",
    ]  # fmt: skip
    assert list(ledger.read().readings["reading_id"]) == ["a"]
    again = load(ledger, only(readings=frame("readings", *chain)))
    assert counts(again)["readings"] == (0, 0, 1, 7)


def test_who_and_when_of_an_export_make_batches_in_the_order_of_time(ledger):
    rows = [
        reading("P1", day, 0.8, recorded_by=by, recorded_at=at)
        for day, by, at in (
            ("2023-05-01", "Ben", "2023-05-02T09:00:00+00:00"),
            ("2023-02-01", "Ada", "2023-02-02T09:00:00+00:00"),
            ("2023-02-02", "Ada", "2023-02-02T09:00:00+00:00"),
            ("2023-06-01", np.nan, np.nan),
        )
    ]
    ledger.append(only(readings=frame("readings", *rows)), by="Cem", source="an export")
    assert ledger.revision == 3
    said = ledger.history().set_index("read_on")
    assert said["recorded_by"].to_dict() == {
        "2023-02-01": "Ada", "2023-02-02": "Ada", "2023-05-01": "Ben", "2023-06-01": "Cem",
    }  # fmt: skip
    assert said.loc["2023-05-01", "recorded_at"] == "2023-05-02T09:00:00+00:00"
    assert list(ledger.read(as_of_revision=2).readings["read_on"]) == [
        "2023-06-01", "2023-02-01", "2023-02-02",
    ]  # fmt: skip


def test_a_load_that_breaks_off_leaves_nothing(ledger, monkeypatch):
    monkeypatch.setattr(append_room, "CHUNK", 2)

    def stop(done, total):
        if done > total - 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        load(ledger, example(), on_progress=stop)
    assert ledger.revision == 0
    assert len(ledger.history()) == 0
    load(ledger, example())
    assert_equal(ledger.read(), example(), but=RECORDED)


def test_a_row_that_the_store_cannot_hold_stops_the_load(ledger):
    nameless = frame("readings", reading(np.nan, "2023-02-01", 0.8))
    with pytest.raises(LedgerError, match="panel"):
        load(ledger, dataclasses.replace(example(), readings=nameless))
    assert ledger.revision == 0


def test_progress_grows_to_the_total(ledger, monkeypatch):
    monkeypatch.setattr(append_room, "CHUNK", 2)
    seen = []
    load(ledger, example(), on_progress=lambda *step: seen.append(step))
    total = sum(len(rows) for _, rows in example().frames())
    assert [done for done, _ in seen] == sorted({done for done, _ in seen})
    assert {whole for _, whole in seen} == {total}
    assert seen[-1] == (total, total)


@pytest.mark.parametrize("by", ["", "  \n", "a\x00b"])
def test_a_load_needs_a_name(ledger, by):
    with pytest.raises(CallError, match="by"):
        ledger.append(example(), by=by, source="a folder")


def test_frames_of_another_shape_are_refused(ledger):
    with pytest.raises(CallError, match="columns of sites"):
        load(ledger, dataclasses.replace(example(), sites=pd.DataFrame({"site": ["K"]})))
