"""Who leads: as ranks and differences tell it, with the month by which the lead would be told."""

from __future__ import annotations

import math

import pytest

from aging.comparison import differences, ranks
from aging.comparison.design import SCHEDULE, Plan, of_fit, smallest_difference
from aging.comparison.lead import POWER, leads


@pytest.fixture(scope="module")
def lead(fitted):
    [only] = leads(fitted, 36.0)
    return only


def test_chances_are_those_of_the_first_rank(fitted, lead):
    rows = ranks(fitted, 36.0).query("site == 'all' and rank == 1")
    expected = rows.set_index("formulation")["probability"]
    got = lead.chances.set_index("formulation")["probability"]
    assert got.sort_index().tolist() == pytest.approx(expected.sort_index().tolist())
    assert got.is_monotonic_decreasing
    assert len(lead.sites) == 3


def test_the_gap_is_the_difference_of_the_first_two(fitted, lead):
    first, second = lead.chances["formulation"].iloc[:2].tolist()
    frame = differences(fitted, 36.0, against=second).frame
    over = frame[(frame["site"] == "all") & (frame["target"] == "state")]
    row = over.set_index("formulation").loc[first]
    got = (lead.gap, lead.lower, lead.upper)
    assert got == pytest.approx((row["estimate"], row["lower"], row["upper"]), abs=1e-9)
    assert lead.told == (row["lower"] > 0 or row["upper"] < 0)


def test_the_month_is_the_first_whose_plan_shows_as_much(fitted, lead):
    def least(month):
        visits = tuple(float(one) for one in SCHEDULE if one <= month)
        return smallest_difference(Plan(2, 3, visits), of_fit(fitted), 36.0, power=POWER)

    later = [month for month in SCHEDULE if lead.read < month <= 36]
    shown = [month for month in later if least(month) <= lead.gap]
    if lead.told or not shown:
        assert math.isnan(lead.told_by)
    else:
        assert lead.told_by == shown[0]


def test_who_fails_elsewhere_does_not_lead(fitted, lead):
    first = lead.chances["formulation"].iloc[0]
    [other] = leads(fitted, 36.0, without={first})
    assert first not in set(other.chances["formulation"])
    assert other.chances["probability"].sum() == pytest.approx(1)
