"""The visit that moved a claim most is found among those that the claim did not know."""

from __future__ import annotations

from types import SimpleNamespace

import pandas as pd
import pytest

from aging.claims.turning import turning_visit

CLAIM = SimpleNamespace(formulation="A", sites=("X", "Y"), months=36.0)
DAYS = ("2025-01-01", "2025-04-01", "2025-07-01", "2025-10-01")


@pytest.fixture
def moved():
    estimates = {"X": (0.80, 0.60, 0.61, 0.59), "Y": (0.70, 0.70, 0.60, 0.60)}
    return pd.DataFrame([
        {"formulation": "A", "site": site, "target": "reading", "months": 36.0, "as_of": day,
         "estimate": value}
        for site, values in estimates.items() for day, value in zip(DAYS, values, strict=True)
    ])  # fmt: skip


def test_the_worst_new_visit_is_named_with_the_site_that_moved_it_first(moved):
    new = [(site, day) for day in DAYS[2:] for site in ("X", "Y")]
    turn = turning_visit(moved, CLAIM, new, 1)
    assert (turn.on, turn.sites) == ("2025-07-01", ("Y", "X"))
    assert (turn.before, turn.after) == pytest.approx((0.65, 0.605))


def test_where_lower_is_better_a_rise_is_the_worse(moved):
    raised = moved.assign(estimate=-moved["estimate"])
    assert turning_visit(raised, CLAIM, [("X", DAYS[3])], -1).on == DAYS[3]


def test_no_new_visit_for_the_worse_is_no_turn(moved):
    better = moved.assign(estimate=-moved["estimate"])
    assert turning_visit(better, CLAIM, [("X", DAYS[1])], 1) is None
    assert turning_visit(moved[moved["site"] == "X"], CLAIM, [("X", DAYS[1])], 1) is None
