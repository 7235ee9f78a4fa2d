"""Tables as laboratories write them: matched by their headers, confirmed once, remembered."""

from __future__ import annotations

import re
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from aging import intake
from aging.errors import CallError, SourceError
from aging.intake.matching import (
    KEPT,
    Match,
    Matching,
    from_sheet,
    known_for,
    propose,
    seems_percent,
    to_sheet,
    with_value,
)
from aging.intake.synonyms import Heard, heard, known
from aging.intake.text import parse
from aging.records import SHEETS, Exposure
from aging.vocabulary import PROPERTIES, ROLES, SURFACE_STATES

PANELS = "panel,formulation,site,exposed_on\nA1,F1,S1,2024-01-10\nA2,F2,S1,2024-01-10\n"


@pytest.fixture
def store() -> Exposure:
    """Panels that are known already."""
    raw = intake.checked([parse("panels", "panels.csv", PANELS.encode())])
    return raw.exposure


@pytest.fixture
def table(tmp_path):
    """Write one table and read its proposal and, by it, its rows."""

    def write(text: str, name: str = "lab.csv", encoding: str = "utf-8") -> Path:
        path = tmp_path / name
        path.write_bytes(text.encode(encoding))
        return path

    return write


def proposal(path: Path) -> Matching:
    [found] = intake.foreign(path)
    return propose(found)


def meant(matching: Matching) -> dict[str, tuple[str, str, str]]:
    return {one.header: (one.meaning, one.unit, one.surface_state) for one in matching.matches}


def rows(result) -> list[tuple]:
    frame = result.exposure.readings
    wanted = ["panel", "read_on", "property", "value", "surface_state"]
    return [tuple(row) for row in frame[wanted].itertuples(index=False)]


def test_every_synonym_means_something_known():
    columns = {name for sheet in SHEETS.values() for name in sheet.names}
    assert set(known("column").values()) <= columns
    assert set(known("property").values()) == set(PROPERTIES)
    assert set(known("surface_state").values()) == set(SURFACE_STATES)
    assert set(known("role").values()) == set(ROLES)


@pytest.mark.parametrize(
    ("header", "told"),
    [
        ("SR (%)", Heard("solar_reflectance", "%")),
        ("SR washed [%]", Heard("solar_reflectance", "%", "washed")),
        ("Mean SR", Heard("solar_reflectance")),
        ("SR 2", Heard("solar_reflectance")),
        ("Reflexionsgrad, gewaschen (%)", Heard("solar_reflectance", "%", "washed")),
        ("RÉFLECTANCE SOLAIRE %", Heard("solar_reflectance", "%")),
        ("Gloss 60° (GU)", Heard("gloss_60", "GU")),
        ("Dry film thickness (mil)", Heard("dry_film_um", "mil")),
        ("Prüfdatum", Heard("read_on")),
        ("SR operator", Heard("")),
        ("Chalking", Heard("")),  # by which of two scales?
        ("cloud cover", Heard("")),
    ],
)
def test_a_header_is_heard(header, told):
    assert heard(header) == told


def test_a_wide_table_becomes_readings_that_keep_header_and_row(table, store):
    path = table(
        "Specimen,Date,SR (%),YI,Remarks\n"
        "A1,2024-03-01,81.2,2.5,cloudy\nA2,2024-03-01,79.5,n/a,\nA9,2024-03-01,80,3,\n"
        "A2,2024-03-08,8o,3,\n"
    )
    matching = proposal(path)
    assert meant(matching) == {
        "Specimen": ("panel", "", ""), "Date": ("read_on", "", ""),
        "SR (%)": ("solar_reflectance", "%", ""), "YI": ("yellowness_index", "", ""),
        "Remarks": ("remark", "", ""),
    }  # fmt: skip
    result = intake.read(path, matchings=[matching], known=store)
    assert rows(result) == [
        ("A1", "2024-03-01", "solar_reflectance", 0.812, "as_exposed"),
        ("A2", "2024-03-01", "solar_reflectance", 0.795, "as_exposed"),
        ("A1", "2024-03-01", "yellowness_index", 2.5, "as_exposed"),
        ("A2", "2024-03-08", "yellowness_index", 3.0, "as_exposed"),
    ]
    found = [(f.code, f.sheet, f.row, f.column, f.seen) for f in result.findings]
    assert found == [
        ("unknown-panel", "lab.csv", 4, "Specimen", "A9"),
        ("not-a-number", "lab.csv", 5, "SR (%)", "8o"),
    ]
    assert "lab.csv: YI: 1 open cells taken as not read" in result.notes
    assert result.exposure.panels.empty  # the store's own panels are not read again
    assert [(t.sheet, t.rows, t.accepted) for t in result.tallies] == [("readings", 7, 4)]


def test_refused_rows_come_back_with_their_reasons(table, store):
    path = table("Specimen,Date,SR (%)\nA1,2024-03-01,81.2\nA2,2024-03-08,8o\n")
    back = intake.read(path, matchings=[proposal(path)], known=store).refused
    assert back[["file", "row", "panel", "value"]].to_numpy().tolist() == [
        ["lab.csv", 3, "A2", "8o"]
    ]
    assert back["reasons"].iloc[0].startswith("SR (%): 8o; allowed: a number")


def test_decimal_commas_days_first_titles_and_a_row_of_units(table, store):
    path = table(
        "Bewitterung Hof 3;;;\nAuftrag 77;;;\n\n"
        "Probe;Prüfdatum;Reflexionsgrad;Reflexionsgrad gewaschen;Bemerkung\n;;%;%;\n"
        "A1;01.03.2024;81,2;84,1;nass\nA2;13.03.2024;79,5;;\n",
        encoding="cp1252",
    )
    matching = proposal(path)
    assert meant(matching)["Prüfdatum"] == ("read_on", "day first", "")
    result = intake.read(path, matchings=[matching], known=store)
    assert rows(result) == [
        ("A1", "2024-03-01", "solar_reflectance", 0.812, "as_exposed"),
        ("A2", "2024-03-13", "solar_reflectance", 0.795, "as_exposed"),
        ("A1", "2024-03-01", "solar_reflectance", 0.841, "washed"),
    ]
    assert not result.findings


def test_dates_that_may_be_meant_either_way_are_refused_until_somebody_says(table, store):
    path = table("Sample,Date,SR\nA1,03/04/2024,0.8\n")
    assert meant(proposal(path))["Date"] == ("read_on", "", "")
    result = intake.read(path, matchings=[proposal(path)], known=store)
    assert [(f.code, f.column) for f in result.findings] == [("ambiguous-date", "Date")]
    told = Matching("readings", (Match("Sample", "panel"), Match("Date", "read_on", "month first"),
                                 Match("SR", "solar_reflectance")))  # fmt: skip
    assert rows(intake.read(path, matchings=[told], known=store))[0][1] == "2024-03-04"


def test_percent_without_a_unit_is_asked_and_a_percent_sign_in_a_cell_is_one(table, store):
    path = table("Sample,Date,SR\nA1,2024-03-01,81\nA2,2024-03-01,79.5 %\n")
    [found] = intake.foreign(path)
    assert seems_percent(found.cells["SR"].str.removesuffix(" %"))
    result = intake.read(path, matchings=[propose(found)], known=store)
    assert [(f.code, f.row, f.column) for f in result.findings] == [
        ("percent-for-fraction", 2, "SR")
    ]
    assert rows(result) == [("A2", "2024-03-01", "solar_reflectance", 0.795, "as_exposed")]


def test_several_columns_of_one_property_are_its_spots(table, store):
    path = table("Sample,Date,SR 1 (%),SR 2 (%),SR 3 (%)\nA1,2024-03-01,80,82,84\n"
                 "A2,2024-03-01,80,,x\n")  # fmt: skip
    result = intake.read(path, matchings=[proposal(path)], known=store)
    [row] = result.exposure.readings.to_dict("records")
    assert (row["value"], row["spots"], row["spot_sd"]) == (0.82, 3, 0.02)
    assert row["spot_values"] == "0.8 0.82 0.84"
    assert [(f.code, f.row, f.seen) for f in result.findings] == [("not-a-number", 3, "x")]


def test_one_table_of_everything_tells_its_panels_too(table):
    path = table(
        "Éprouvette;Formule;Lieu;Exposé le;Date;Réflectance (%);Mélange\n"
        "P1;F1;Cour;2024-01-10;2024-03-01;81;7\nP1;F1;Cour;2024-01-10;2024-04-01;80;7\n"
    )
    result = intake.read(path, matchings=[proposal(path)])
    assert result.exposure.panels[["panel", "formulation", "site"]].to_numpy().tolist() == [
        ["P1", "F1", "Cour"]
    ]
    assert len(rows(result)) == 2
    assert result.exposure.readings["extra"].tolist() == ['{"Mélange": 7.0}'] * 2


def test_a_long_table_with_other_words_is_read(table, store):
    path = table("Probe\tDatum\tEigenschaft\tMesswert\tEinheit\tZustand\n"
                 "A1\t2024-03-01\tGlanz 60°\t12,5\tGU\tgereinigt\n")  # fmt: skip
    result = intake.read(path, matchings=[proposal(path)], known=store)
    assert rows(result) == [("A1", "2024-03-01", "gloss_60", 12.5, "washed")]


def test_tabs_of_a_workbook_and_a_day_that_holds_for_all_rows(tmp_path, store):
    book = openpyxl.Workbook()
    book.active.title = "Visit 4"
    for row in (["Panel ID", "TE", "SR"], ["A1", 0.9, "0,81"], ["A2", 0.89, 0.8]):
        book.active.append(row)
    book.save(tmp_path / "visit.xlsx")
    matching = proposal(tmp_path / "visit.xlsx")
    assert matching.lacking == ("read_on",)
    whole = with_value(matching, "read_on", "2024-03-01")
    result = intake.read(tmp_path / "visit.xlsx", matchings=[whole], known=store)
    assert {row[1] for row in rows(result)} == {"2024-03-01"}
    assert sorted(row[3] for row in rows(result)) == [0.8, 0.81, 0.89, 0.9]
    assert [match for one in from_sheet(to_sheet([whole]).matchings) for match in one.matches
            if match.header == "*"] == []  # the day of one file is not remembered  # fmt: skip


def test_a_matching_is_known_by_its_headers_in_any_order(table, store):
    matching = proposal(table("Specimen,Date,SR (%),Cloud\nA1,2024-03-01,81,2\n"))
    assert meant(matching)["Cloud"] == (KEPT, "", "")
    [again] = from_sheet(to_sheet([matching]).matchings)
    assert again == matching
    [other] = intake.foreign(table("cloud,sr (%),DATE,specimen\n3,80,2024-04-01,A2\n"))
    assert known_for(other, [again]) == again
    result = intake.read(table("cloud,sr (%),DATE,specimen\n3,80,2024-04-01,A2\n"),
                         matchings=[again], known=store)  # fmt: skip
    assert rows(result) == [("A2", "2024-04-01", "solar_reflectance", 0.8, "as_exposed")]
    [more] = intake.foreign(table("Specimen,Date,SR (%)\nA1,2024-03-01,81\n"))
    assert known_for(more, [again]) is None


def test_our_own_sheets_ask_for_no_matching(folder):
    assert intake.foreign(folder()) == []
    [found] = intake.foreign(folder(readings="Specimen,Date,SR\nA1,2024-03-01,0.8\n"))
    assert found.file == "readings.csv"
    result = intake.read(folder(readings="Specimen,Date,SR\nA1,2024-03-01,0.8\n"),
                         matchings=[propose(found)])  # fmt: skip
    assert len(rows(result)) == 1


@pytest.mark.parametrize(
    "matches",
    [
        (Match("A", "panel"), Match("B", "panel")),
        (Match("A", "mass"),),
        (Match("A", "solar_reflectance", "mil"),),
        (Match("A", "solar_reflectance", "", "painted"),),
    ],
)
def test_a_matching_that_cannot_be_is_refused(matches):
    with pytest.raises(CallError, match="is not allowed; allowed: "):
        Matching("readings", matches)


def test_a_table_without_a_matching_says_what_it_needs(table, store):
    path = table("Specimen,Date,SR\nA1,2024-03-01,0.8\n")
    with pytest.raises(SourceError, match=re.escape("needs a matching of its columns")):
        intake.read(path, known=store)


WORDS = ["Specimen", "Date", "SR (%)", "SR 1", "SR 2", "YI", "Property", "Value", "Unit", "Site",
         "Formulation", "Exposed", "washed", "", "%", "A1", "A9", "2024-03-01", "01.03.2024",
         "13/03/2024", "81,2", "0.8", "x", "n/a", "\u202e", "=1+1", "*"]  # fmt: skip


@settings(
    max_examples=60, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip
@given(
    lines=st.lists(st.lists(st.sampled_from(WORDS), max_size=6), max_size=7),
    delimiter=st.sampled_from(",;\t"),
)
def test_no_table_ends_in_a_fault_of_the_program(lines, delimiter, tmp_path, store):
    path = tmp_path / "lab.csv"
    path.write_text("\n".join(delimiter.join(line) for line in lines), encoding="utf-8")
    for one in intake.foreign(path):
        matching = propose(one)
        result = intake.read(path, matchings=[matching], known=store)
        told = {one.column for one in result.findings} - {None}
        assert told <= {*one.headers, *SHEETS[matching.sheet].names} or any(
            " + " in column for column in told
        )
        rows_in = sum(tally.rows for tally in result.tallies)
        assert rows_in == sum(t.accepted + t.refused for t in result.tallies)


def test_weather_of_a_station_is_matched_in_its_own_units_and_its_site_is_asked_each_time(table):
    path = table(
        "Day;Precip (in);Temp (°C);Global radiation [kWh/m2];Wind\n"
        "13.05.2025;0,1;21,5;5;3\n14.05.2025;;20;n/a;4\n"
    )
    found = proposal(path)
    assert (found.sheet, found.lacking) == ("weather", ("site",))
    assert meant(found) == {
        "Day": ("date", "day first", ""), "Precip (in)": ("rain_mm", "in", ""),
        "Temp (°C)": ("temperature_C", "°c", ""), "Wind": (KEPT, "", ""),
        "Global radiation [kWh/m2]": ("solar_MJ_m2", "kwh/m2", ""),
    }  # fmt: skip
    whole = with_value(found, "site", "S1")
    hung = intake.checked([parse("panels", "panels.csv", PANELS.encode())]).exposure
    days = intake.read(path, matchings=[whole], known=hung).exposure.weather
    named = ["site", "date", "rain_mm", "temperature_C", "solar_MJ_m2"]
    first, second = days[named].itertuples(index=False)
    assert tuple(first) == ("S1", "2025-05-13", pytest.approx(2.54), 21.5, pytest.approx(18))
    assert second.date == "2025-05-14"
    assert days.loc[1, ["rain_mm", "solar_MJ_m2"]].isna().all()
    assert from_sheet(to_sheet([whole]).matchings)[0].lacking == ("site",)


def test_a_date_that_could_be_read_two_ways_follows_the_column_that_tells(table):
    found = proposal(table("Specimen,Exposed,Test date,SR\nA1,03/04/2024,25/04/2024,0.8\n"))
    assert meant(found)["Exposed"] == ("exposed_on", "day first", "")
