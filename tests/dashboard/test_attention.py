"""Tables and rules of the overview on a hand-made exposure whose counts are known."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from aging.records import SHEETS, Exposure, Finding, empty_frame
from dashboard import attention, tables, wording

TODAY = date(2024, 6, 1)


def sheet(name: str, rows: list[dict]) -> pd.DataFrame:
    return pd.concat([empty_frame(name), pd.DataFrame(rows)])[[*SHEETS[name].names, "extra"]]


def exposure(*, visits: tuple[str, ...], replicates: int = 3, role: str = "control") -> Exposure:
    """One site, one formulation, and a file specimen; every panel is read at every visit."""
    names = [f"P{i}" for i in range(replicates)]
    common = {"formulation": "F", "site": "Hill", "exposed_on": "2024-01-01"}
    panels = [{"panel": p, "kind": "exposed", **common} for p in names]
    panels.append({"panel": "FILE", "kind": "file_specimen", **common})
    read = {"property": "solar_reflectance", "value": 0.8, "surface_state": "as_exposed"}
    readings = [{"panel": p, "read_on": v, **read} for v in visits for p in (*names, "FILE")]
    return Exposure(
        sites=sheet("sites", [{"site": "Hill"}]),
        formulations=sheet("formulations", [{"formulation": "F", "role": role}]),
        panels=sheet("panels", panels),
        readings=sheet("readings", readings),
        events=empty_frame("events"),
        weather=empty_frame("weather"),
    )


FIVE = ("2024-01-01", "2024-02-01", "2024-03-01", "2024-04-01", "2024-05-10T09:30")


def found(given: Exposure) -> pd.DataFrame:
    read = tables.readings(given)
    sites, series = tables.by_site(given, read, TODAY), tables.by_series(given, read)
    return attention.items(sites, series, read, tables.unread(given))


def matters(given: Exposure) -> dict[str, str]:
    frame = found(given)
    return dict(zip(frame["matter"], frame["seen"], strict=True))


def test_nothing_needs_attention_in_a_sound_exposure():
    assert matters(exposure(visits=FIVE)) == {}


def test_a_visit_is_due_after_the_longest_gap_so_far():
    late = exposure(visits=(*FIVE[:4], "2024-04-20"))
    assert matters(late) == {wording.VISIT_DUE: "42 days ago; longest gap so far 31"}


def test_too_few_panels_and_visits_and_no_control_are_named():
    seen = matters(exposure(visits=("2024-05-01", "2024-05-31"), replicates=2, role="candidate"))
    assert set(seen) == {wording.FEW_PANELS, wording.FEW_VISITS, wording.NO_CONTROL}
    assert seen[wording.FEW_PANELS] == "2 panels"
    assert seen[wording.FEW_VISITS] == "2 visits"


def test_a_panel_without_a_reading_is_named():
    given = exposure(visits=FIVE)
    read = given.readings[given.readings["panel"] != "P2"].reset_index(drop=True)
    given = replace(given, readings=read)
    frame = found(given)
    assert frame["where"].tolist() == ["Hill, P2"]


def test_closed_panels_need_nothing():
    given = exposure(visits=("2024-01-01",), replicates=1, role="candidate")
    given.panels["closed_on"] = "2024-02-01"
    assert matters(given) == {}


def test_sites_and_series_are_counted_without_file_specimens():
    given = exposure(visits=FIVE)
    read = tables.readings(given)
    [site] = tables.by_site(given, read, TODAY).to_dict("records")
    assert (site["open"], site["closed"], site["visits"], site["days"]) == (3, 0, 5, 22)
    assert site["since"] == pd.Timestamp("2024-01-01")
    [series] = tables.by_series(given, read).to_dict("records")
    assert (series["panels"], series["visits"]) == (3, 5)
    assert series["months"] == pytest.approx(130 / 30.44)


def test_a_bar_ends_with_the_last_reading_or_the_closing():
    given = exposure(visits=FIVE)
    [bar] = tables.spans(given, tables.readings(given)).to_dict("records")
    assert (bar["start"], bar["end"]) == (pd.Timestamp("2024-01-01"), pd.Timestamp("2024-05-10"))


def test_findings_are_counted_by_code_and_blocks_come_first():
    warn = Finding("odd_value", "warn", "readings", 3, "value", "0.2", "0.3 to 0.9", "look")
    block = Finding("not_a_number", "block", "readings", None, "value", "x", "a number", "mend")
    counted = attention.finding_counts(attention.findings([warn, warn, block]))
    assert counted[["code", "count"]].to_numpy().tolist() == [["not_a_number", 1], ["odd_value", 2]]


def test_marks_keep_washed_readings_apart_and_out_of_the_mean_over_sites():
    given = exposure(visits=FIVE)
    given.readings.loc[given.readings.index[-2:], "surface_state"] = "washed"
    read = tables.readings(given)
    here = tables.marks(tables.series(read, "Hill", "F"), "Hill", None)
    assert set(here["mark"]) == {"Measured, as exposed", "Measured, washed"}
    over = tables.marks(tables.series(read, "all", "F"), "all", None)
    assert set(over["mark"]) == {"Measured, Hill"}
    assert len(over) == len(here) - 1
    assert over["known"].all()


def test_marks_tell_what_was_read_after_a_day():
    read = tables.readings(exposure(visits=FIVE))
    assert tables.days(read) == sorted((day[:10] for day in FIVE), reverse=True)
    marks = tables.marks(read, "Hill", "2024-03-01")
    assert marks["mark"].tolist() == ["Measured, as exposed"] * 9 + ["Read later, as exposed"] * 6
    assert marks.loc[marks["known"], "on"].max() == pd.Timestamp("2024-03-01")
    assert set(marks["series"]) == {"as exposed"}
