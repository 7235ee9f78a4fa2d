"""Whatever program wrote the CSV, the same facts come out."""

from __future__ import annotations

import pytest
from pandas.testing import assert_frame_equal

from aging import intake

HEAD = "panel,read_on,property,value"
ROWS = [
    ["Panel", " read on ", "property", "value", "unit", "operator", "remark"],
    ["A1", "2024-03-01", "solar_reflectance", "0.812", "", "Zoë", "dry, clear"],
    ["A1", "2024-03-01 10:30", "dry_film_um", "612.5", "µm", "Zoë", 'said "ok"'],
    ["A2", "2024-03-01", "b_star", "-1.25e0", "", "Zoë", ""],
]


def quoted(cell, delimiter):
    return '"' + cell.replace('"', '""') + '"' if delimiter in cell or '"' in cell else cell


def written(delimiter, comma, end="\n"):
    rows = [list(row) for row in ROWS]
    for row in rows[1:]:
        row[3] = row[3].replace(".", ",") if comma else row[3]
    return end.join(delimiter.join(quoted(c, delimiter) for c in row) for row in rows) + end


@pytest.fixture
def expected(folder):
    return intake.read(folder(readings=written(",", comma=False))).exposure.readings


@pytest.mark.parametrize(("delimiter", "comma"), [(",", False), (";", False), (";", True),
                                                  ("\t", False), ("\t", True)])  # fmt: skip
@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
def test_encodings_delimiters_and_decimal_signs(folder, expected, encoding, delimiter, comma):
    result = intake.read(folder(readings=written(delimiter, comma).encode(encoding)))
    assert [f for f in result.findings if f.severity == "block"] == []
    assert_frame_equal(result.exposure.readings, expected)
    assert result.exposure.readings["value"].tolist() == [0.812, 612.5, -1.25]
    assert set(result.exposure.readings["operator"]) == {"Zoë"}
    assert any("Windows-1252" in note for note in result.notes) == (encoding == "cp1252")


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_line_ends_of_all_systems(folder, expected, end):
    result = intake.read(folder(readings=written(",", comma=False, end=end)))
    assert_frame_equal(result.exposure.readings, expected)


def rows_of(result):
    return result.exposure.readings[["panel", "property", "value"]].to_numpy().tolist()


def test_row_numbers_are_those_of_a_spreadsheet(folder):
    two = 'A1,2024-03-01,gloss_60,8,"two\nlines"'
    text = f"\n,,,\n{HEAD},remark\n{two}\n\n,,,,\nA1,2024-03-01,gloss_60,x,\n"
    result = intake.read(folder(readings=text))
    assert [(f.row, f.seen) for f in result.findings] == [(7, "x")]
    assert result.tallies[-1].rows == 2
    assert result.exposure.readings["remark"].tolist() == ["two\nlines"]


def test_a_spreadsheets_delimiter_hint_is_taken(folder):
    text = "sep=;\n" + HEAD.replace(",", ";") + "\nA1;2024-03-01;gloss_60;8,5\nA1;x;gloss_60;8,5\n"
    result = intake.read(folder(readings=text))
    assert rows_of(result) == [["A1", "gloss_60", 8.5]]
    assert [f.row for f in result.findings] == [4]


def test_short_rows_and_empty_cells_beyond_the_header_are_harmless(folder):
    text = f"{HEAD},remark,\nA1,2024-03-01,gloss_60,8\nA1,2024-03-01,gloss_20,7,,,,\n"
    result = intake.read(folder(readings=text))
    assert rows_of(result) == [["A1", "gloss_60", 8.0], ["A1", "gloss_20", 7.0]]
    assert result.findings == ()


def test_a_header_may_differ_in_case_and_spacing_and_cells_are_trimmed(folder):
    text = (
        "PANEL; Read-On ;Property;Value;Surface State\n A1 ;2024-03-01; Gloss_60 ; 8 ;As exposed\n"
    )
    result = intake.read(folder(readings=text))
    assert rows_of(result) == [["A1", "gloss_60", 8.0]]
    assert result.exposure.readings["surface_state"].tolist() == ["as_exposed"]


@pytest.mark.parametrize("text", [written(";", comma=True), written("\t", comma=False),
                                  f"{HEAD}\nA1,2024-03-01,gloss_60,8"])  # fmt: skip
def test_both_readers_agree(folder, monkeypatch, text):
    with_arrow = intake.read(folder(readings=text))
    monkeypatch.setattr("aging.intake.text._regular", lambda *_: None)
    without = intake.read(folder(readings=text))
    assert len(without.exposure.readings) > 0
    assert without.findings == with_arrow.findings
    assert_frame_equal(without.exposure.readings, with_arrow.exposure.readings)


def test_a_cell_larger_than_a_csv_cell_may_be_is_a_finding(folder):
    result = intake.read(folder(readings=f"{HEAD}\nA1,2024-03-01,gloss_60,{'8' * 3_000_000}\n"))
    assert [f.code for f in result.findings] == ["unreadable-file"]
    assert result.exposure.readings.empty
