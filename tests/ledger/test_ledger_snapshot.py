"""What a store holds is the same, read from the snapshot kept of it or row by row."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from ledger_example import example, frame, only, reading, with_readings

from aging import shelf
from aging.ledger import open_ledger, read, snapshot
from aging.records import SHEETS


@pytest.fixture
def worth(tmp_path, monkeypatch):
    """How many new rows make a snapshot; the shelf is the test's own."""
    monkeypatch.setenv("AGING_CACHE", str(tmp_path / "own"))
    return lambda rows: monkeypatch.setattr(snapshot, "WORTH", rows)


def row_by_row(ledger):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("AGING_CACHE", "off")
        return ledger.read()


def assert_same(one, other):
    for sheet in SHEETS:
        pd.testing.assert_frame_equal(getattr(one, sheet), getattr(other, sheet))


def change(ledger, random, number):
    """One of what may happen to a store: a reading, a correction, a newer fact, a decision."""
    kind = random.integers(4)
    if kind == 0:
        row = reading("P1", f"2024-01-{number + 1:02}", 0.5 + number / 100)
        ledger.append(only(readings=frame("readings", row)), by="Ben", source="page")
    elif kind == 1:
        standing = ledger.read().readings["reading_id"]
        ledger.correct(str(random.choice(standing)), 0.3 + number / 50, by="Ben", reason="typo")
    elif kind == 2:
        weather = {"site": "Salt Pan/2", "date": "2023-02-01", "rain_mm": float(number)}
        sites = {"site": "Salt Pan/2", "name": f"Pan {number}"}
        facts = only(sites=frame("sites", sites), weather=frame("weather", weather))
        ledger.append(facts, by="Ben", source="page")
    else:
        row = {"finding": f"F{number % 3}", "decision": "correct", "reason": f"seen {number}"}
        ledger.append(only(settlements=frame("settlements", row)), by="Ben", source="page")


@pytest.mark.parametrize("rows", [1, 3])
def test_whatever_happens_the_snapshot_and_what_came_since_are_what_stands(tmp_path, worth, rows):
    worth(rows)
    random = np.random.default_rng(rows)
    with open_ledger(tmp_path / "a.sqlite", create=True) as ledger:
        ledger.append(example(), by="Ada", source="a folder")
        for number in range(25):
            change(ledger, random, number)
            assert_same(ledger.read(), row_by_row(ledger))


def test_postgresql_reads_the_same(postgres_url, worth):
    worth(1)
    with open_ledger(postgres_url, create=True) as ledger:
        ledger.append(example(), by="Ada", source="a folder")
        for number in range(8):
            change(ledger, np.random.default_rng(number), number)
            assert_same(ledger.read(), row_by_row(ledger))


def test_only_what_came_since_is_read(tmp_path, worth, monkeypatch):
    worth(5)
    with open_ledger(tmp_path / "a.sqlite", create=True) as ledger:
        ledger.append(example(), by="Ada", source="a folder")
        ledger.read()
        fetched = []
        typed = read._typed  # noqa: SLF001 - what is fetched goes through it
        monkeypatch.setattr(
            read, "_typed", lambda rows, schema: fetched.extend(rows) or typed(rows, schema)
        )
        ledger.read()
        assert fetched == []
        ledger.correct(example().readings["reading_id"][0], 0.4, by="Ben", reason="typo")
        ledger.read()
    assert len(fetched) == 1


def test_another_store_of_the_same_name_and_revision_has_its_own(tmp_path, worth):
    worth(1)
    path = tmp_path / "a.sqlite"
    for value in (0.4, 0.5):
        path.unlink(missing_ok=True)
        facts = with_readings(example(), reading("P1", "2024-02-01", value))
        with open_ledger(path, create=True) as ledger:
            ledger.append(facts, by="Ada", source="a folder")
            assert ledger.read().readings["value"].iloc[-1] == value


def test_a_spoilt_snapshot_is_not_used_and_written_anew(tmp_path, worth):
    worth(1)
    with open_ledger(tmp_path / "a.sqlite", create=True) as ledger:
        ledger.append(example(), by="Ada", source="a folder")
        before = ledger.read()
        (file,) = shelf.folder().iterdir()
        file.write_bytes(file.read_bytes()[:-9])
        assert_same(ledger.read(), before)
        assert len(list(shelf.folder().iterdir())) == 1


def test_small_stores_and_parts_of_a_store_leave_nothing_behind(tmp_path, worth):
    with open_ledger(tmp_path / "a.sqlite", create=True) as ledger:
        ledger.append(example(), by="Ada", source="a folder")
        ledger.read()
        worth(1)
        ledger.read(only=["sites"])
        ledger.read(1)
    assert list(shelf.folder().iterdir()) == []
