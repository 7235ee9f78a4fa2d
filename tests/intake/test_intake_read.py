"""What a read source says: facts, defaults, notes and counts."""

from __future__ import annotations

import json

import pytest

from aging import intake
from aging.errors import SourceError
from aging.records import SHEETS, empty_frame

HEAD = "panel,read_on,property,value"


def test_the_frames_have_the_columns_and_types_of_the_table(folder):
    exposure = intake.read(folder()).exposure
    for name, frame in exposure.frames():
        assert frame.dtypes.astype(str).to_dict() == empty_frame(name).dtypes.astype(str).to_dict()
        assert tuple(frame.columns) == (*SHEETS[name].names, "extra")
        assert frame.index.equals(empty_frame(name).reindex(range(len(frame))).index)


def test_sites_and_formulations_are_made_from_panels_and_noted(folder):
    result = intake.read(folder(formulations="formulation,role\nF1,Control\n"))
    assert result.exposure.sites["site"].tolist() == ["S1"]
    assert result.exposure.formulations["formulation"].tolist() == ["F1", "F2"]
    assert result.exposure.formulations["role"].tolist()[0] == "control"
    assert "sites: made from the panels: S1" in result.notes
    assert "formulations: made from the panels: F2" in result.notes
    assert [(f.code, f.severity) for f in result.findings] == [("unknown-formulation", "warn")]


def test_kind_and_surface_state_are_filled_and_counted(folder):
    result = intake.read(folder())
    assert result.exposure.panels["kind"].tolist() == ["exposed", "exposed", "file_specimen"]
    result = intake.read(folder(readings=f"{HEAD}\nA1,2024-03-01,gloss_60,8\n"))
    assert result.exposure.readings["surface_state"].tolist() == ["as_exposed"]
    assert "readings.csv: no column of the surface state: all taken as exposed" in result.notes
    text = f"{HEAD},surface_state\nA1,2024-03-01,gloss_60,8,\nA1,2024-03-01,gloss_60,9,washed\n"
    result = intake.read(folder(readings=text))
    assert result.exposure.readings["surface_state"].tolist() == ["as_exposed", "washed"]
    assert "readings.csv: empty surface_state taken as as_exposed: 1" in result.notes


def test_values_come_in_the_propertys_own_unit(folder):
    text = (
        f"{HEAD},unit,spot_sd\nA1,2024-03-01,solar_reflectance,78.1,%,0.7\n"
        "A1,2024-03-01,dry_film_um,20,mil,1\nA1,2024-03-01,thermal_emittance,0.9,1,\n"
        "A1,2024-03-01,gloss_60,8,,0.5\n"
    )
    readings = intake.read(folder(readings=text)).exposure.readings
    assert readings["value"].tolist() == [0.781, 508.0, 0.9, 8.0]
    assert readings["unit"].tolist() == ["fraction", "um", "fraction", "GU"]
    assert readings["spot_sd"].tolist()[:2] == [0.007, 25.4]
    assert readings["spot_sd"].tolist()[3] == 0.5


def test_a_reading_without_an_id_gets_its_natural_key(folder):
    text = (
        f"{HEAD},instrument,reading_id\nA1,2024-03-01 10:30,gloss_60,8,G-1,\n"
        "A1,2024-03-01T00:00:00,gloss_60,8,,\nA1,2024-03-02,gloss_60,8,G-1,own\n"
    )
    readings = intake.read(folder(readings=text)).exposure.readings
    assert readings["reading_id"].tolist() == [
        "A1/2024-03-01T10:30:00/gloss_60/as_exposed/G-1",
        "A1/2024-03-01/gloss_60/as_exposed",
        "own",
    ]


@pytest.mark.parametrize(
    ("day_first", "dates"),
    [(True, ["2024-04-03", "2024-05-25"]), (False, ["2024-03-04"]), (None, [])],
)
def test_the_order_of_day_and_month_is_what_the_caller_says(folder, day_first, dates):
    text = f"{HEAD}\nA1,03/04/2024,gloss_60,8\nA1,25.5.2024,gloss_60,9\n"
    result = intake.read(folder(readings=text), day_first=day_first)
    assert result.exposure.readings["read_on"].tolist() == dates
    assert result.tallies[-1].refused == 2 - len(dates)


def test_a_file_specimen_may_be_read_before_the_exposure(folder):
    result = intake.read(folder(readings=f"{HEAD}\nA3,2023-12-01,gloss_60,8\n"))
    assert result.findings == ()
    assert len(result.exposure.readings) == 1


def test_readings_of_a_refused_panel_point_at_the_panels_sheet(folder):
    panels = "panel,formulation,site,exposed_on\nA1,F1,S1,2024-13-01\nA2,F1,S1,2024-01-10\n"
    result = intake.read(folder(panels=panels))
    assert [(f.code, f.sheet, f.row) for f in result.findings] == [
        ("not-a-date", "panels.csv", 2),
        ("unknown-panel", "readings.csv", 2),
    ]
    assert result.findings[1].action == "correct the panel's row in panels.csv"


def test_an_unusable_panels_sheet_refuses_all_readings_with_one_finding(folder):
    result = intake.read(folder(panels="panel,formulation\nA1,F1\n"))
    assert [(f.code, f.column) for f in result.findings] == [
        ("missing-column", "site"),
        ("missing-column", "exposed_on"),
        ("unknown-panel", "panel"),
    ]
    assert [(t.sheet, t.rows, t.refused) for t in result.tallies] == [
        ("panels", 1, 1),
        ("readings", 2, 2),
    ]


def test_unknown_columns_are_kept_as_facts(folder):
    panels = (
        "panel,formulation,site,exposed_on,coats,lot,wet_film_um\n"
        "A1,F1,S1,2024-01-10,2,0012,900\nA2,F1,S1,2024-01-10,,0013,n.m.\nA3,F1,S1,2024-01-10,,,\n"
    )
    result = intake.read(folder(panels=panels))
    extra = result.exposure.panels["extra"]
    assert [json.loads(text) for text in extra.dropna()] == [
        {"coats": 2.0, "lot": "0012", "wet_film_um": 900.0},
        {"lot": "0013", "wet_film_um": "n.m."},
    ]
    assert extra.isna().tolist() == [False, False, True]
    assert "panels.csv: kept as extra facts: coats, lot, wet_film_um" in result.notes


def test_composition_is_numbers_and_a_bad_cell_is_missing(folder):
    text = "formulation;silica_wt_pct;tio2_g_per_l;resin\nF1;8,5;120;R1\nF2;none;110;R2\n"
    result = intake.read(folder(formulations=text))
    table = intake.composition(result.exposure.formulations)
    assert table.loc["F1"].to_dict() == {"silica_wt_pct": 8.5, "tio2_g_per_l": 120.0}
    assert table["silica_wt_pct"].isna().tolist() == [False, True]
    assert [(f.code, f.severity, f.row) for f in result.findings] == [("not-a-number", "warn", 3)]


def test_words_for_nothing_are_empty_cells_and_counted(folder):
    weather = "date,rain_mm,temperature_C\n2024-03-01,NA,12\n2024-03-02,2.5,-\n"
    result = intake.read(folder(weather__S1=weather))
    assert result.findings == ()
    assert result.exposure.weather["rain_mm"].isna().tolist() == [True, False]
    assert result.exposure.weather["site"].tolist() == ["S1", "S1"]
    assert "weather/S1.csv: rain_mm: taken as empty: 1 (NA)" in result.notes


def test_weather_of_several_files_is_joined_and_tallied_together(folder):
    sites = "site\nS1\nS2\n"
    result = intake.read(
        folder(sites=sites, weather__S1="date,rain_mm\n2024-03-01,1\n",
               weather__S2="date,rain_mm\n2024-03-01,2\n2024-03-02,-1\n")
    )  # fmt: skip
    assert result.exposure.weather[["site", "rain_mm"]].to_numpy().tolist() == [
        ["S1", 1],
        ["S2", 2],
    ]
    assert (result.tallies[-1].rows, result.tallies[-1].refused) == (3, 1)


def test_a_correction_names_what_it_corrects(folder):
    text = f"{HEAD},reading_id,supersedes,reason\nA1,2024-03-01,gloss_60,9,r2,r1,misread\n"
    readings = intake.read(folder(readings=text)).exposure.readings
    assert readings[["reading_id", "supersedes", "reason"]].to_numpy().tolist() == [
        ["r2", "r1", "misread"]
    ]


def test_files_that_are_no_sheets_are_named(folder):
    path = folder(notes="a,b\n")
    (path / "photo.jpg").write_bytes(b"\xff\xd8")
    (path / "old").mkdir()
    (path / "old" / "readings.csv").write_text("x")
    assert "not read: notes.csv, photo.jpg" in intake.read(path).notes


def test_file_names_may_differ_in_case(folder):
    path = folder()
    (path / "readings.csv").rename(path / "READINGS.CSV")
    assert len(intake.read(path).exposure.readings) == 2


@pytest.mark.parametrize("lacking", ["panels", "readings"])
def test_a_folder_without_a_needed_sheet_says_what_it_found(folder, lacking):
    path = folder(**{lacking: None}, events="on,kind\n")
    with pytest.raises(SourceError, match=rf"no {lacking} sheet; found: .*events\.csv.*needed"):
        intake.read(path)


def test_two_files_for_one_sheet_are_one_too_many(folder):
    path = folder()
    (path / "Readings.csv").write_text(HEAD)
    if len(list(path.iterdir())) == 2:
        pytest.skip("this file system does not tell the two names apart")
    with pytest.raises(SourceError, match="more than one readings sheet"):
        intake.read(path)


@pytest.mark.parametrize("name", ["nowhere", "readings.csv", "a\0b", "x" * 5000])
def test_a_source_that_is_no_folder_and_no_workbook_is_refused(folder, name):
    path = folder()
    with pytest.raises(SourceError):
        intake.read(path / name)


def test_a_table_wider_than_any_sheet_is_not_read(folder):
    result = intake.read(folder(events="on,kind" + ",x" * 1000 + "\n"))
    assert [(f.code, f.seen) for f in result.findings] == [("unreadable-file", "1002 columns")]


def test_a_file_name_that_no_terminal_should_print_is_escaped(folder):
    path = folder()
    (path / "a\x1b[31m.txt").write_text("x")
    assert "not read: a\\x1b[31m.txt" in intake.read(path).notes


def test_a_row_told_twice_is_named_by_numbers_too(folder):
    path = folder(plan="site,months,window_days\n,6,7\n,6,7\n,6.5,7\n,6,9\n")
    found = intake.read(path)
    plan = [one for one in found.findings if one.sheet == "plan.csv"]
    assert [(one.code, one.row, one.seen) for one in plan] == [
        ("duplicate", 3, "/6"), ("conflicting-duplicate", 5, "/6"),
    ]  # fmt: skip
    assert found.exposure.plan["months"].tolist() == [6.0, 6.5]
