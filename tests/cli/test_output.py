"""JSON that any reader takes, and option values that say what is wrong with them."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from aging.cli import output
from aging.errors import CallError
from aging.records import Tally

FACTS = {
    "rows": pd.DataFrame({"estimate": [0.7, np.nan], "n": [3, 4], "notes": ["a", np.nan]}),
    "tallies": (Tally("readings", 2, 1, 1),),
    "share": np.float64(np.inf),
}


def strict(text: str) -> object:
    def refuse(word: str) -> None:
        raise AssertionError(word)

    return json.loads(text, parse_constant=refuse)


def test_json_has_the_frame_s_fields_and_no_nan():
    assert output.plain(FACTS) == {
        "rows": [
            {"estimate": 0.7, "n": 3, "notes": "a"},
            {"estimate": None, "n": 4, "notes": None},
        ],
        "tallies": [{"sheet": "readings", "rows": 2, "accepted": 1, "refused": 1}],
        "share": None,
    }


def test_json_to_the_screen_replaces_the_tables(capsys):
    output.give("-", FACTS, lambda: pytest.fail("the tables were shown as well"))
    assert strict(capsys.readouterr().out) == output.plain(FACTS)


def test_json_to_a_file_comes_with_the_tables(tmp_path):
    shown = []
    output.give(str(tmp_path / "facts.json"), FACTS, lambda: shown.append(1))
    assert shown == [1]
    assert strict((tmp_path / "facts.json").read_text(encoding="utf-8")) == output.plain(FACTS)


def test_numbers_are_read_or_refused():
    assert output.numbers("--months", "12, 24,36.5") == [12, 24, 36.5]
    with pytest.raises(CallError, match=r"--months: '3y' is not allowed; allowed: 36, or 12,24,36"):
        output.numbers("--months", "3y")
