"""Exposure to cube to campaigns: places, times, ends of series."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from aging.campaigns import campaigns
from aging.cube import build, known_at, save
from aging.records import SHEETS, Exposure, empty_frame


def frame(sheet, rows):
    table = pd.DataFrame(rows).reindex(columns=[*SHEETS[sheet].names, "extra"])
    return table.astype(empty_frame(sheet).dtypes.to_dict())


def panel(name, exposed_on="2025-01-01", formulation="F1", **more):
    facts = {"panel": name, "formulation": formulation, "site": "S", "kind": "exposed"}
    return facts | {"exposed_on": exposed_on} | more


def reading(panel_name, read_on, value, state="as_exposed", prop="solar_reflectance"):
    facts = {"panel": panel_name, "read_on": read_on, "value": value, "property": prop}
    return facts | {"surface_state": state, "reading_id": f"{panel_name}{read_on}{state}{prop}"}


def exposure(panels, readings, events=(), weather=(), **more):
    empty = {name: empty_frame(name) for name in SHEETS}
    sheets = {"panels": panels, "readings": readings, "events": events, "weather": weather} | more
    return Exposure(**empty | {name: frame(name, list(rows)) for name, rows in sheets.items()})


def test_each_reading_stands_at_its_panel_visit_property_and_state():
    cube = build(
        exposure(
            [panel("A"), panel("B", formulation="F2")],
            [
                reading("A", "2025-01-01", 0.84),
                reading("B", "2025-01-01", 0.86),
                reading("A", "2025-04-02", 0.70),
                reading("A", "2025-04-02", 0.80, "washed"),
                reading("B", "2025-04-02", 90.0, prop="lightness"),
            ],
        )
    )
    assert dict(cube.sizes) == {"panel": 2, "visit": 2, "property": 2, "surface_state": 2}
    at = cube["value"].sel(property="solar_reflectance", surface_state="as_exposed")
    assert at.sel(panel="A").to_numpy().tolist() == [0.84, 0.70]
    assert cube["value"].sel(panel="A", visit=1, surface_state="washed").max() == 0.80
    assert int(cube["value"].count()) == 5
    assert cube["months"].sel(panel="A", visit=1).item() == pytest.approx(91 / 30.44)
    assert cube["unit"].sel(property="lightness").item() == "1"
    assert cube["formulation"].sel(panel="B").item() == "F2"


def test_a_round_of_hours_is_one_visit_and_an_evening_is_another():
    moments = ["2025-01-01T09:00", "2025-01-01T10:30", "2025-01-01T12:00", "2025-01-01T18:00"]
    cube = build(
        exposure(
            [panel(name) for name in "ABC"],
            [reading(p, at, 0.8) for p, at in zip("ABCA", moments, strict=True)],
        )
    )
    assert cube.sizes["visit"] == 2
    assert cube["value"].count("panel").to_numpy().ravel().tolist() == [3, 1]


def test_repeated_readings_of_a_visit_are_averaged():
    rows = [reading("A", "2025-01-01", 0.80), reading("A", "2025-01-01", 0.84) | {"reading_id": 2}]
    assert build(exposure([panel("A")], rows))["value"].item() == pytest.approx(0.82)


@pytest.mark.parametrize(
    ("event", "kept"),
    [
        ({"on": "2025-02-01", "kind": "recoat", "panel": "A"}, 1),
        ({"on": "2025-02-01", "kind": "wash", "site": "S"}, 1),
        ({"on": "2025-03-01", "kind": "wash", "panel": "A"}, 2),
        ({"on": "2025-02-01", "kind": "dust", "site": "S"}, 2),
        ({"on": "2024-12-01", "kind": "wash", "panel": "A"}, 2),
    ],
)
def test_an_event_ends_the_unwashed_series_from_the_next_day(event, kept):
    rows = [reading("A", "2025-01-01", 0.8), reading("A", "2025-03-01", 0.9)]
    cube = build(exposure([panel("A")], rows, [event]))
    assert int(cube["value"].count()) == kept
    assert ("1 readings" in cube.attrs["notes"]) == (kept == 1)


def test_as_of_hides_what_came_later_and_includes_its_own_day():
    rows = [reading("A", "2025-01-01", 0.8), reading("A", "2025-03-01T15:00", 0.7)]
    whole = exposure([panel("A", closed_on="2025-03-02")], rows)
    assert len(known_at(whole, pd.Timestamp("2025-03-01")).readings) == 2
    assert len(known_at(whole, pd.Timestamp("2025-03-01T14:00")).readings) == 1
    assert known_at(whole, pd.Timestamp("2025-03-01")).panels["closed_on"].isna().all()


def test_the_cube_survives_netcdf(tmp_path):
    rows = [reading("A", "2025-01-01", 0.8), reading("A", "2025-03-01", 0.9, "washed")]
    cube = build(exposure([panel("A")], rows))
    save(cube, tmp_path / "cube.nc")
    with xr.open_dataset(tmp_path / "cube.nc", engine="h5netcdf") as back:
        xr.testing.assert_allclose(back.load(), cube)


def test_campaigns_split_by_start_and_leave_file_specimens_out():
    rows = [
        reading(p, day, 0.8)
        for p in ("OLD", "NEW", "NEW2", "FILE")
        for day in ("2025-07-10", "2025-09-10")
    ]
    late = {"exposed_on": "2025-07-01", "formulation": "F2"}
    sheets = exposure(
        [panel("OLD"), panel("NEW", **late), panel("NEW2", **late), panel("FILE") | {
            "kind": "file_specimen"}], rows,
        weather=[{"site": "S", "date": day, "rain_mm": rain}
                 for day, rain in (("2025-07-01", 8.0), ("2025-07-10", 0.0), ("2025-09-10", 9.0))],
    )  # fmt: skip
    old, new = campaigns(build(sheets), sheets.weather, "solar_reflectance")
    assert (old.panels, new.panels) == (("OLD",), ("NEW", "NEW2"))
    assert new.readings.months.tolist() == pytest.approx([9 / 30.44, 71 / 30.44])
    assert new.readings.dryness[1] < 0 < new.readings.dryness_sd
    assert campaigns(build(sheets), sheets.weather, "gloss_60") == ()


def test_an_empty_exposure_gives_an_empty_cube():
    cube = build(exposure([panel("A")], []))
    assert cube["value"].size == 0
    assert campaigns(cube, empty_frame("weather"), "solar_reflectance") == ()


def test_extra_facts_do_not_disturb():
    sheets = exposure([panel("A")], [reading("A", "2025-01-01", 0.8)])
    with_extra = replace(sheets, readings=sheets.readings.assign(extra=json.dumps({"sky": "blue"})))
    assert np.array_equal(build(with_extra)["value"], build(sheets)["value"])
