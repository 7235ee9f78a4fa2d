"""The plan of visits: windows, states on both sides of each edge, the calendar that follows."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest
from icalendar import Calendar

from aging.errors import CallError
from aging.fieldwork.plan import MONTHS, visit_plan
from aging.fieldwork.round_sheet import CAUTIONS
from aging.fieldwork.visit_calendar import calendar
from aging.records import empty_frame


def own_plan(exposure, *rows):
    sheet = pd.DataFrame(rows, columns=["site", "months", "window_days"])
    return replace(exposure, plan=sheet.astype({"site": "str"}).assign(extra=None))


def states(exposure, day):
    return visit_plan(exposure, day).set_index("months")["state"]


def test_the_default_months_with_windows_that_widen(exposure):
    plan = visit_plan(exposure, "2025-10-06")
    assert plan["months"].tolist() == list(MONTHS)
    half = ((plan["closes_on"] - plan["due_on"]).dt.days).tolist()
    assert half == [7, 7, 7, 7, 14, 14, 14, 14, 14, 14, 30]
    assert (plan["due_on"] - plan["exposed_on"]).dt.days.tolist()[-1] == round(36 * 30.44)
    assert plan["opens_on"].min() == pd.Timestamp("2025-03-05")


def test_a_visit_is_filled_by_the_day_on_which_most_panels_were_read(exposure):
    six = visit_plan(exposure, "2025-10-06").set_index("months").loc[6]
    assert (six["read_on"], six["state"]) == (pd.Timestamp("2025-09-01"), "done")
    assert (six["panels"], six["read_panels"]) == (7, 7)
    assert visit_plan(exposure, "2025-08-31").set_index("months").loc[6, "state"] == "due"


@pytest.mark.parametrize(
    ("day", "state"),
    [("2025-11-19", "to come"), ("2025-11-20", "due"), ("2025-12-04", "due"),
     ("2025-12-05", "overdue"), ("2025-12-18", "overdue"), ("2025-12-19", "missed")],
)  # fmt: skip
def test_states_change_on_the_day_they_should(exposure, day, state):
    plan = visit_plan(exposure, day).set_index("months")
    assert plan.loc[9, "due_on"] == pd.Timestamp("2025-12-04")
    assert plan.loc[9, "state"] == state


def test_too_few_panels_read_make_no_visit(exposure):
    day = exposure.readings["read_on"] == "2025-09-01"
    few = exposure.readings[~day | (exposure.readings["panel"] == "P1")]
    assert states(replace(exposure, readings=few), "2025-10-06")[6] == "missed"


def test_a_site_has_its_own_months_and_windows(exposure):
    given = own_plan(exposure, (None, 4, None), (None, 6, 3), ("HILL", 6, 20), ("DALE", 8, 1))
    plan = visit_plan(given, "2025-10-06")
    assert plan["months"].tolist() == [4, 6]
    assert (plan["closes_on"] - plan["due_on"]).dt.days.tolist() == [14, 20]


def test_nothing_is_planned_after_the_last_panel_left(exposure):
    gone = replace(exposure, panels=exposure.panels.assign(closed_on="2025-09-20"))
    assert visit_plan(gone, "2025-10-06")["months"].max() == 6
    nothing = replace(exposure, panels=empty_frame("panels"))
    assert visit_plan(nothing, "2025-10-06").empty


def test_a_day_that_is_none_is_refused(exposure):
    with pytest.raises(CallError, match="as_of"):
        visit_plan(exposure, "soon")


def test_the_calendar_reads_back_and_keeps_its_uids(exposure):
    plan = visit_plan(exposure, "2025-10-06")
    stamp = pd.Timestamp("2025-10-06")
    events = Calendar.from_ical(calendar(plan, stamp)).walk("VEVENT")
    assert len(events) == len(plan) == len({event["UID"] for event in events})
    first = events[0]
    assert first["DTSTART"].dt.isoformat() == "2025-03-05"
    assert (first["DTEND"].dt - first["DTSTART"].dt).days == 1
    assert "7 panels" in first["SUMMARY"]
    assert all(caution in first["DESCRIPTION"] for caution in CAUTIONS)
    later = Calendar.from_ical(calendar(visit_plan(exposure, "2026-01-01"), stamp)).walk("VEVENT")
    assert [event["UID"] for event in later] == [event["UID"] for event in events]
    assert calendar(plan, stamp) == calendar(plan, stamp)
