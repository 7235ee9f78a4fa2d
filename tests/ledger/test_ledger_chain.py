from __future__ import annotations

import json
from hashlib import sha256

import pytest

from aging.ledger.chain import batch_digest, read_seal, seal_text, sheet_digest

ROWS = [(1, "a", 0.1 + 0.2), (2, None, -0.0), (3, "Zoë\n", float("inf"))]


def digest_of(text):
    return sha256(text.encode()).hexdigest()


def test_a_sheet_digest_is_that_of_the_text_in_the_definition():
    text = '[["id",[1,2,3]],["name",["a",null,"Zo\\u00eb\\n"]],'
    text += '["value",[0.30000000000000004,-0.0,Infinity]]]'
    assert sheet_digest(["id", "name", "value"], ROWS) == (3, digest_of(text))


def test_blocks_of_a_thousand_rows_follow_one_another():
    rows = [(number,) for number in range(1001)]
    texts = (f'[["id",{json.dumps(list(part), separators=(",", ":"))}]]'
             for part in (range(1000), [1000]))  # fmt: skip
    assert sheet_digest(["id"], iter(rows)) == (1001, digest_of("".join(texts)))


def test_a_column_that_a_later_release_adds_changes_nothing():
    wider = [(*row[:2], None, row[2]) for row in ROWS]
    assert sheet_digest(["id", "name", "new", "value"], wider) == sheet_digest(
        ["id", "name", "value"], ROWS
    )


@pytest.mark.parametrize(
    "other",
    [
        ROWS[:2], ROWS[::-1], [*ROWS[:2], (3, "Zoë\n", 1e308)],
        [*ROWS[:2], (3, "Zoe\n", ROWS[2][2])],
        [(1, None, 0.1 + 0.2), (2, "a", -0.0), ROWS[2]], [ROWS[0], (2, None, 0.0), ROWS[2]],
        [(1, "a", 0.3), *ROWS[1:]], [*ROWS, (4, None, None)],
    ],
)  # fmt: skip
def test_whatever_differs_gives_another_digest(other):
    columns = ["id", "name", "value"]
    assert sheet_digest(columns, other)[1] != sheet_digest(columns, ROWS)[1]


def test_a_batch_digest_knows_what_came_before_who_and_what():
    facts = {"id": 2, "recorded_by": "Ada", "reason": None}
    seal = seal_text({"readings": (3, "ab"), "panels": (1, "cd")})
    assert seal == '{"panels":[1,"cd"],"readings":[3,"ab"]}'
    text = json.dumps(["ee", {"id": 2, "recorded_by": "Ada"}, seal], separators=(",", ":"))
    assert batch_digest("ee", facts, seal) == digest_of(text)
    assert batch_digest("ee", facts | {"device": None}, seal) == digest_of(text)
    others = [("ef", facts, seal), ("ee", facts | {"reason": "x"}, seal), ("ee", facts, seal + " ")]
    assert digest_of(text) not in {batch_digest(*other) for other in others}


@pytest.mark.parametrize("text", ["", "[]", "5", '{"readings": 5}', '{"readings": [1]}', "{"])
def test_a_seal_made_unreadable_holds_nothing(text):
    assert read_seal(text) == {}
    assert read_seal(seal_text({"sites": (2, "ab")})) == {"sites": (2, "ab")}
