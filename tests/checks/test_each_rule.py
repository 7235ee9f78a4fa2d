"""Each rule finds what it is for, names the readings, and stays silent on a sound rack."""

from __future__ import annotations

import pandas as pd
import pytest

from aging.checks import QUESTIONED, RULES, check

PLAIN1, PLAIN2, SILICA2 = "plain-1@2024-10-09", "plain-2@2024-10-09", "silica-2@2024-10-09"
LAST = "2025-10-08"


def found(rack, rule):
    return rack.frame[rack.frame["rule"] == rule]


def one(rack, rule, severity, ids):
    rows = found(rack, rule)
    assert set(rows["severity"]) == {severity}
    assert set(rows["reading_id"].dropna()) == set(ids)
    return rows


def value(rack, reading_id):
    readings = rack.exposure.readings
    return float(readings.loc[readings["reading_id"] == reading_id, "value"].iloc[0])


def swap(rack):
    one, other = value(rack, PLAIN1), value(rack, SILICA2)
    return rack.changed(PLAIN1, value=other).changed(SILICA2, value=one)


def test_a_sound_rack_asks_for_nothing(rack):
    assert rack.frame[rack.frame["severity"].isin(QUESTIONED)].empty


def test_an_empty_exposure_asks_for_nothing(rack):
    for name in ("readings", "panels"):
        rack.replaced(name, getattr(rack.exposure, name)[:0])
    assert rack.frame.empty


@pytest.mark.parametrize(("wetness", "severity"), [("damp", "confirm"), ("wet", "block")])
def test_wet_surface(rack, wetness, severity):
    one(rack.changed(PLAIN1, surface_wetness=wetness), "wet-surface", severity, [PLAIN1])


@pytest.mark.parametrize(("drop", "severity"), [(0.025, None), (0.04, "warn"), (0.08, "confirm")])
def test_one_panel_apart(rack, drop, severity):
    rack.changed(PLAIN1, value=lambda now: now - drop)
    if severity is None:
        assert found(rack, "apart").empty
    else:
        rows = one(rack, "apart", severity, [PLAIN1])
        assert f"{value(rack, PLAIN1):.3f}" in rows["seen"].iloc[0]


def test_swapped_panels_make_one_finding_instead_of_two_outliers(rack):
    rows = one(swap(rack), "swapped", "confirm", [PLAIN1, SILICA2])
    assert len(set(rows["finding"])) == 1
    assert found(rack, "apart").empty


def test_fell_fast_goes_by_age(rack):
    rack.changed(LAST, value=lambda now: now - 0.27)
    assert "warn" not in set(found(rack, "fell-fast")["severity"])
    assert len(found(rack, "fell-fast")) == 6
    early = type(rack)().changed("2024-02-09", value=lambda now: now - 0.08)
    assert set(found(early, "fell-fast")["read_on"]) == {"2024-02-09"}


def test_a_rise_is_excused_by_rain_or_a_wash(rack):
    days = [f"plain-{n}@{LAST}" for n in (1, 2, 3)]
    for reading in days:
        rack.changed(reading, value=lambda now: now + 0.045)
    one(rack, "rose", "warn", days)
    rain = [{"site": "YARD", "date": day, "rain_mm": 8.0} for day in ("2025-08-01", "2025-09-01")]
    assert found(rack.added("weather", *rain), "rose").empty


def test_a_panel_like_new_is_taken_for_washed_unless_the_wash_is_logged(rack):
    rack.changed("plain-1@2025-04-09", value=0.835)
    one(rack, "like-washed", "confirm", ["plain-1@2025-04-09"])
    rack.added("events", {"on": "2025-03-01", "kind": "wash", "panel": "plain-1"})
    assert found(rack, "like-washed").empty
    late = {f"plain-1@{day}" for day in ("2025-04-09", "2025-07-09", LAST)}
    one(rack, "after-end", "block", late)


def test_a_thicker_film_tells_a_recoat(rack):
    rack.changed("plain-1@2025-04-09", value=0.835)
    film = {"panel": "plain-1", "read_on": "2025-04-09", "property": "dry_film_um"}
    rack.added("readings", film | {"value": 900.0, "unit": "um", "reading_id": "film"})
    one(rack, "recoated", "block", ["plain-1@2025-04-09"])
    assert found(rack, "like-washed").empty


def test_above_new(rack):
    one(rack.changed(f"silica-1@{LAST}", value=0.88), "above-new", "confirm", [f"silica-1@{LAST}"])


def test_washed_twins(rack):
    for panel, read in (("plain-1", 0.90), ("plain-2", 0.60)):
        rack.added("readings", {
            "panel": panel, "read_on": LAST, "property": "solar_reflectance", "value": read,
            "surface_state": "washed", "reading_id": f"{panel} washed",
        })  # fmt: skip
    one(rack, "washed-above-new", "warn", ["plain-1 washed"])
    one(rack, "washed-darker", "confirm", ["plain-2 washed", f"plain-2@{LAST}"])


@pytest.mark.parametrize(
    ("values", "odd"),
    [("0.70 0.71 0.72", False), ("0.66 0.70 0.72", True), ("0.70 0.70 0.70 0.70 0.74", True)],
)
def test_spots(rack, values, odd):
    assert len(found(rack.changed(PLAIN1, spot_values=values), "spots")) == odd


def test_lightness_must_fall_with_reflectance(rack):
    for day, read in (("2024-01-10", 95.0), (LAST, 95.0)):
        rack.added("readings", {
            "panel": "plain-1", "read_on": day, "property": "lightness", "value": read,
            "surface_state": "as_exposed", "reading_id": f"L {day}",
        })  # fmt: skip
    one(rack, "lightness", "warn", [f"plain-1@{LAST}"])


def test_a_whole_rack_off_its_course_is_one_finding_and_an_event_explains_it(rack):
    days = [f"{panel}-{n}@2024-10-09" for panel in ("plain", "silica") for n in (1, 2, 3)]
    for reading in days:
        rack.changed(reading, value=lambda now: now - 0.05)
    assert len(set(one(rack, "together", "warn", days)["finding"])) == 1
    assert found(rack, "apart").empty
    rack.added("events", {"on": "2024-10-01", "kind": "dust", "site": "YARD"})
    one(rack, "together", "info", days)
    one(rack, "event-near", "info", days)


def test_a_formulation_that_moves_alone(rack):
    days = [f"silica-{n}@2024-10-09" for n in (1, 2, 3)]
    for reading in days:
        rack.changed(reading, value=lambda now: now - 0.10)
    assert set(found(rack, "group-apart")["reading_id"]) >= set(days)


def test_file_specimens_tell_the_instrument(rack):
    specimens = ["plain-4@2024-10-09", "silica-4@2024-10-09"]
    rack.changed("-4@2024-10-09", value=lambda now: now + 0.014)
    one(rack, "file-specimens", "warn", specimens)
    rack.changed("-4@2024-10-09", value=lambda now: now + 0.02)
    rows = found(rack, "file-specimens")
    assert len(rows) == 8
    assert set(rows["severity"]) == {"block"}


@pytest.mark.parametrize(("read", "severity"), [(0.804, None), (0.807, "warn"), (0.815, "block")])
def test_tile_check(rack, read, severity):
    rack.added("instrument_checks", {
        "instrument": "SR-1", "at": "2024-10-09T08:00", "stage": "before", "certified": 0.8,
        "value": read,
    })  # fmt: skip
    rows = found(rack, "tile-check")
    assert set(rows["severity"]) == ({severity} - {None})
    assert len(rows) == (8 if severity else 0)


def test_a_tile_check_without_readings_is_found_all_the_same(rack):
    rack.added("instrument_checks", {
        "instrument": "SR-9", "at": "2024-10-09T08:00", "stage": "before", "certified": 0.8,
        "value": 0.9,
    })  # fmt: skip
    assert found(rack, "tile-check")["reading_id"].isna().tolist() == [True]


def test_a_tile_in_other_units_than_reflectance_is_not_judged(rack):
    rack.added("readings", {
        "panel": "plain-1", "read_on": "2024-10-09", "property": "gloss_60", "value": 60.0,
        "unit": "GU", "surface_state": "as_exposed", "instrument": "GL-1", "reading_id": "gloss",
    })  # fmt: skip
    rack.added("instrument_checks", {
        "instrument": "GL-1", "at": "2024-10-09T08:00", "stage": "before", "certified": 93.0,
        "value": 92.7,
    })  # fmt: skip
    assert found(rack, "tile-check").empty


def test_calibration_overdue(rack):
    rack.added("instruments", {"instrument": "SR-1", "calibration_due": "2025-09-01"})
    assert set(found(rack, "calibration")["read_on"]) == {LAST}


def test_other_conditions(rack):
    rows = one(rack.changed(PLAIN1, weighting="G173 direct"), "conditions", "block", [PLAIN1])
    assert "G173 direct" in rows["seen"].iloc[0]


def test_an_instrument_change_is_excused_by_file_specimens(rack):
    rack.changed(LAST, instrument="SR-2")
    assert set(found(rack, "instrument-changed")["severity"]) == {"info"}
    readings = rack.exposure.readings
    rack.replaced("readings", readings[~readings["panel"].str.endswith("-4")])
    assert set(found(rack, "instrument-changed")["severity"]) == {"warn"}


def test_a_rater_who_steps(rack):
    for day, rater, rating in (("2024-10-09", "A", 9.0), (LAST, "B", 7.0)):
        rack.added("readings", *({
            "panel": f"plain-{n}", "read_on": day, "property": "growth", "value": rating,
            "surface_state": "as_exposed", "operator": rater, "reading_id": f"{n} {day}",
        } for n in (1, 2, 3)))  # fmt: skip
    one(rack, "rater-changed", "warn", [f"{n} {LAST}" for n in (1, 2, 3)])


def test_copied_visit(rack):
    readings = rack.exposure.readings
    before = readings[readings["read_on"] == "2025-07-09"].set_index("panel")["value"]
    for panel in before.index:
        rack.changed(f"{panel}@{LAST}", value=before[panel])
    one(rack, "copied", "confirm", [f"{p}@{LAST}" for p in before.index if not p.endswith("4")])


def test_twice_a_day(rack):
    again = rack.exposure.readings[rack.exposure.readings["reading_id"] == PLAIN1]
    rack.added("readings", again.iloc[0].to_dict() | {"reading_id": "again", "value": 0.6})
    one(rack, "twice", "block", [PLAIN1, "again"])


def test_exchanged_day_and_month(rack):
    rack.changed(PLAIN1, read_on="2024-09-10")
    rows = one(rack, "day-month", "confirm", [PLAIN1])
    assert "2024-10-09" in rows["allowed"].iloc[0]


def test_off_the_plan(rack):
    plan = [{"site": "YARD", "months": m, "window_days": 14.0} for m in (0, 1, 2, 4, 6, 12, 15, 18)]
    rack.added("plan", *plan, {"months": 21.0, "window_days": 20.0})
    assert set(found(rack, "off-plan")["read_on"]) == {"2024-10-09"}


def test_a_panel_that_left_early(rack):
    panels = rack.exposure.panels.copy()
    panels.loc[panels["panel"] == "plain-1", "closed_on"] = "2024-10-09"
    readings = rack.exposure.readings
    late = (readings["panel"] == "plain-1") & (readings["read_on"] > "2024-10-09")
    rack.replaced("panels", panels).replaced("readings", readings[~late])
    one(rack, "ended-early", "info", [PLAIN1])


def test_thin_film_has_no_reading(rack):
    panels = rack.exposure.panels.copy()
    panels.loc[panels["panel"] == "plain-1", "dry_film_um"] = 400.0
    rows = rack.replaced("panels", panels).frame
    assert rows[["rule", "severity", "panel"]].to_numpy().tolist() == [
        ["thin-film", "confirm", "plain-1"]
    ]


def test_replicates_that_spread_name_the_odd_one(rack):
    for day in pd.unique(rack.exposure.readings["read_on"]):
        rack.changed(f"plain-1@{day}", value=lambda now: now - 0.08)
    rows = found(rack, "replicates")
    assert set(rows["panel"]) == {"plain-1"}
    assert found(rack, "apart").empty


def test_since_keeps_only_later_readings(rack):
    rack.changed(PLAIN1, value=lambda now: now - 0.05)
    assert check(rack.exposure, since="2024-10-09").frame["reading_id"].tolist() == [PLAIN1]
    assert check(rack.exposure, since="2024-10-10").frame.empty


def test_ids_hold_from_check_to_check_and_differ(rack):
    rack.changed(PLAIN1, value=lambda now: now - 0.05)
    rack.changed("silica-1@2025-01-08", value=lambda now: now - 0.05)
    again = check(rack.exposure, since="2024-06-01").frame
    assert rack.frame["finding"].tolist() == again["finding"].tolist()
    assert len(set(rack.frame["finding"])) == 2


def test_excluded_readings_do_not_judge_others(rack):
    """A fault just before would make a sound reading look risen."""
    rack.changed("silica-1@2025-04-09", value=0.5)
    rack.added("settlements", {
        "finding": rack.frame["finding"].iloc[0], "reading_id": "silica-1@2025-04-09",
        "decision": "excluded", "reason": "a drip",
    })  # fmt: skip
    assert set(rack.frame["state"]) == {"excluded"}
    assert set(rack.frame["reading_id"]) == {"silica-1@2025-04-09"}


def test_every_rule_is_told_with_severity_and_action():
    told = RULES[["severity", "what", "action", "source"]]
    assert told.notna().all(axis=None)
    better = RULES["instead_of"].dropna().str.split().explode()
    assert set(better) <= set(RULES.index)
