"""A series holds readings of one kind: what is left out, and that a note says so."""

from __future__ import annotations

import numpy as np
import pytest
from test_cube import exposure, panel, reading

from aging.conditions import comparable
from aging.cube import build
from aging.decay.priors import priors_for
from aging.instruments import check_instruments
from aging.vocabulary import property_named

TILT, DIRECT = "G173 global tilt", "G173 direct"


def under(name, day, value, weighting=None, **more):
    row = reading(name, day, value) | {"weighting": weighting} | more
    return row | {"reading_id": f"{row['reading_id']}{weighting}"}


def kept(readings, panels=None, settlements=()):
    sheets = exposure(panels or [panel("A")], readings, settlements=settlements)
    rows, notes = comparable(sheets)
    return rows["value"].tolist(), notes


DAYS = ("2025-01-01", "2025-02-01", "2025-03-01")


def test_two_weightings_never_meet_and_the_commonest_stays():
    rows = [under("A", day, 0.8, TILT) for day in DAYS] + [under("A", DAYS[1], 0.7, DIRECT)]
    values, notes = kept(rows)
    assert values == [0.8] * 3
    told = f"1 readings of solar_reflectance under {DIRECT} left out at S"
    assert notes == (f"{told}: the series there holds under {TILT}",)
    cube = build(exposure([panel("A")], rows))
    assert np.nanmin(cube["value"]) == 0.8
    assert cube.attrs["notes"] == notes[0]


def test_of_two_as_common_the_earlier_stays_and_an_unstated_one_joins():
    rows = [under("A", DAYS[1], 0.7, DIRECT), under("A", DAYS[0], 0.8, TILT)]
    assert kept(rows)[0] == [0.8]
    assert kept([*rows, under("A", DAYS[2], 0.6)])[0] == [0.8, 0.6]
    lone = [under("A", day, 0.6) for day in DAYS]
    assert kept([*lone, *rows])[0] == [0.6] * 3 + [0.8]


def test_a_part_that_is_not_stated_joins_only_where_the_others_agree():
    d65, c = {"illuminant": "D65", "observer_deg": 10.0}, {"illuminant": "C", "observer_deg": 2.0}
    rows = [
        under("A", DAYS[0], 90) | d65 | {"geometry": "45:0"},
        under("A", DAYS[1], 91) | d65,
        under("A", DAYS[1], 92) | d65 | {"observer_deg": 2.0},
        under("A", DAYS[2], 93) | c,
        under("A", DAYS[2], 94) | d65 | {"geometry": "d:8 SCI"},
    ]  # fmt: skip
    rows = [row | {"property": "lightness"} for row in rows]
    values, notes = kept(rows)
    assert values == [90, 91]
    assert [note.split(" left out")[0].split(" under ")[1] for note in notes] == [
        "D65, 2 deg", "C, 2 deg", "D65, 10 deg, d:8 SCI",
    ]  # fmt: skip
    assert notes[0].endswith("holds under D65, 10 deg, 45:0")


def test_each_site_keeps_its_own_and_a_note_tells_where_they_differ():
    panels = [panel("A"), panel("B", site="T"), panel("C", site="U")]
    rows = [under("A", DAYS[0], 0.8, TILT), under("B", DAYS[0], 0.7, DIRECT),
            under("C", DAYS[0], 0.6)]  # fmt: skip
    values, notes = kept(rows, panels)
    assert values == [0.8, 0.7, 0.6]
    assert len(notes) == 1
    assert f"under {TILT} at S" in notes[0]
    assert f"under {DIRECT} at T" in notes[0]
    assert kept(rows[::2], panels)[1] == ()


def test_methods_of_a_rating_never_meet():
    rows = [reading("A", day, 8, prop="chalking_astm") | {"method": "D"} for day in DAYS[:2]]
    rows.append(reading("A", DAYS[2], 6, prop="chalking_astm") | {"method": "A"})
    values, notes = kept(rows)
    assert values == [8, 8]
    assert "chalking_astm under A left out" in notes[0]


def test_evidence_of_the_laboratory_never_enters_an_outdoor_series():
    rows = [under("A", DAYS[0], 0.8) | {"evidence": "outdoor"}, under("A", DAYS[1], 0.7)]
    rows += [under("A", DAYS[2], 0.5, kind) | {"evidence": kind}
             for kind in ("laboratory_soiling", "slurry")]  # fmt: skip
    values, notes = kept(rows)
    assert values == [0.8, 0.7]
    assert notes == ("2 readings of laboratory soiling or slurry tests left out",)


@pytest.mark.parametrize(("then", "left"), [("excluded", [0.8]), ("reopened", [0.8, 0.2])])
def test_the_last_decision_on_a_doubt_counts(then, left):
    rows = [under("A", DAYS[0], 0.8), under("A", DAYS[1], 0.2)]
    doubt = {"finding": "f1", "reading_id": rows[1]["reading_id"], "reason": "shade"}
    decisions = [doubt | {"decision": one} for one in ("excluded", then)]
    values, notes = kept(rows, settlements=decisions)
    assert values == left
    assert notes == ("1 readings excluded by decision left out",) * (then == "excluded")


def test_an_instruments_drift_is_told_by_comparable_readings_alone():
    panels = [panel("A"), panel("F") | {"kind": "file_specimen"}]
    rows = [under(name, day, 0.8, TILT) | {"instrument": "SR"} for name in "AF" for day in DAYS]
    other = [under("F", day, 0.5 + i / 9, DIRECT) | {"instrument": "SR"}
             for i, day in enumerate(DAYS[1:])]  # fmt: skip
    prior = priors_for(property_named("solar_reflectance"), "month")
    alone, among = (
        check_instruments(exposure(panels, found), "solar_reflectance", prior).exposure.readings
        for found in (rows, rows + other)
    )
    assert among["value"].tolist() == alone["value"].tolist() + [row["value"] for row in other]
