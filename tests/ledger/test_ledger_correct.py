from __future__ import annotations

import numpy as np
import pytest
from ledger_example import assert_equal, example, reading

from aging.errors import CallError, LedgerError
from aging.ledger import open_ledger

WRONG = reading("P3", "2023-02-01", 0.85)["reading_id"]


@pytest.fixture
def ledger(ledger_url):
    with open_ledger(ledger_url, create=True) as opened:
        opened.append(example(), by="Ada", source="a folder")
        yield opened


def standing(ledger):
    return ledger.read().readings.set_index("reading_id")


def test_a_correction_follows_the_reading_it_supersedes(ledger):
    new = ledger.correct(WRONG, 0.58, by="Ben", reason="two digits swapped", remark="seen in log")
    assert new == f"{WRONG}~2"
    now = standing(ledger)
    assert WRONG not in now.index
    assert len(now) == len(example().readings)
    row = now.loc[new]
    assert (row["value"], row["supersedes"], row["reason"], row["remark"]) == (
        0.58, WRONG, "two digits swapped", "seen in log",
    )  # fmt: skip
    assert (row["panel"], row["read_on"], row["unit"]) == ("P3", "2023-02-01", "fraction")
    assert row["recorded_by"] == "Ben"
    old = ledger.history().set_index("reading_id").loc[WRONG]
    assert (old["value"], old["recorded_by"]) == (0.85, "Ada")
    assert old["recorded_at"] < row["recorded_at"]


def test_corrections_make_a_chain(ledger):
    second = ledger.correct(WRONG, 0.58, by="Ben", reason="typo")
    third = ledger.correct(second, 0.59, by="Ben", reason="typo in the typo")
    assert third == f"{WRONG}~3"
    assert third in standing(ledger).index
    assert standing(ledger).loc[third, "supersedes"] == second
    assert len(ledger.history()) == len(example().readings) + 2
    assert_equal(ledger.read(as_of_revision=1), example(), but=("recorded_by", "recorded_at"))
    assert second in ledger.read(as_of_revision=2).readings["reading_id"].to_list()


def test_a_correction_keeps_the_remark_unless_there_is_a_new_one(ledger):
    remarked = reading("P1", "2023-02-01", 0.3)["reading_id"]
    new = ledger.correct(remarked, 0.31, by="Ben", reason="typo")
    assert standing(ledger).loc[new, "remark"] == "dew, wiped\nonce"


def test_a_folder_loaded_again_does_not_undo_a_correction(ledger):
    new = ledger.correct(WRONG, 0.58, by="Ben", reason="typo")
    receipts = ledger.append(example(), by="Ada", source="a folder")
    assert sum(receipt.stored for receipt in receipts) == 0
    assert standing(ledger).loc[new, "value"] == 0.58


def test_an_id_that_is_taken_is_passed_over(ledger):
    second = ledger.correct(WRONG, 0.58, by="Ben", reason="typo")
    other = reading("P1", "2023-02-01", 0.3)["reading_id"]
    assert ledger.correct(other, 0.5, by="Ben", reason="typo") == f"{other}~2"
    with pytest.raises(LedgerError, match=f"superseded by '{second}'"):
        ledger.correct(WRONG, 0.5, by="Ben", reason="typo")


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        ({"reading_id": "nowhere"}, LedgerError, "no reading 'nowhere'"),
        ({"reason": " "}, CallError, "reason"),
        ({"by": ""}, CallError, "by"),
        ({"value": 58.0}, CallError, r"0\.02 to 1 fraction for solar_reflectance"),
        ({"value": np.nan}, CallError, "value"),
    ],
)
def test_a_correction_that_makes_no_sense_is_refused(ledger, change, error, words):
    call = {"reading_id": WRONG, "value": 0.58, "by": "Ben", "reason": "typo"} | change
    with pytest.raises(error, match=words):
        ledger.correct(**call)
    assert ledger.revision == 1


def test_a_revision_that_is_not_there_is_refused(ledger):
    with pytest.raises(CallError, match="0 to 1"):
        ledger.read(as_of_revision=2)
    assert len(ledger.read(as_of_revision=0).readings) == 0


def test_facts_are_read_as_they_were_known(ledger):
    later = example()
    later.sites.loc[0, "name"] = "The north yard"
    ledger.append(later, by="Ada", source="a folder")
    assert ledger.read(as_of_revision=1).sites["name"].isna().all()
    assert "The north yard" in set(ledger.read(as_of_revision=2).sites["name"])
