"""The round on paper and as a workbook: in rack order, nothing lost on the way back."""

from __future__ import annotations

import shutil
import subprocess
from io import BytesIO

import openpyxl
import pytest

from aging import intake
from aging.errors import SourceError
from aging.fieldwork.paper_sheet import paper_sheet
from aging.fieldwork.round_sheet import CAUTIONS
from aging.fieldwork.workbook_sheet import read_workbook, workbook
from aging.ledger import open_ledger

FILLED = {"value": 0.712, "surface_state": "as_exposed", "surface_wetness": "dry"}


@pytest.fixture
def book(sheet, exposure):
    return openpyxl.load_workbook(BytesIO(workbook(sheet, exposure)))


def heads(tab):
    return {cell.value: cell.column for cell in tab[1]}


def fill(tab, row, **cells):
    columns = heads(tab)
    for name, value in cells.items():
        tab.cell(row, columns[name]).value = value


def column(tab, name):
    return [tab.cell(row, heads(tab)[name]).value for row in range(2, tab.max_row + 1)]


def test_rows_stand_in_rack_order_prefilled_and_blind(book, sheet):
    tab = book["readings"]
    assert list(dict.fromkeys(column(tab, "panel"))) == [one.panel for one in sheet.panels]
    assert set(column(tab, "site")) == {"HILL"}
    assert set(column(tab, "property")) == {"solar_reflectance", "chalking_astm"}
    assert not any(column(tab, "value"))
    assert "last_value" not in heads(tab)
    told = [cell.value for cell in book["read me first"]["A"]]
    assert set(CAUTIONS) <= set(told)


def test_last_values_are_shown_when_asked_for(sheet, exposure):
    tab = openpyxl.load_workbook(BytesIO(workbook(sheet, exposure, earlier=True)))["readings"]
    last = dict(zip(zip(column(tab, "panel"), column(tab, "property"), strict=True),
                    column(tab, "last_value"), strict=True))  # fmt: skip
    assert last["P1", "solar_reflectance"] == 0.71


def test_cells_take_only_what_may_stand_in_them(book):
    tab = book["readings"]
    rules = tab.data_validations.dataValidation

    def rule(name, row=2):
        at = tab.cell(row, heads(tab)[name]).coordinate
        return next(one for one in rules if at in one.sqref)

    assert rule("surface_state").formula1 == '"as_exposed,rinsed,washed,bleached"'
    assert rule("surface_wetness").showErrorMessage
    assert (rule("value").type, rule("value").formula1, rule("value").formula2) == (
        "decimal", "0.02", "1.0",
    )  # fmt: skip
    rated = column(tab, "property").index("chalking_astm") + 2
    assert "MOD" in rule("value", rated).formula1
    assert rule("method", rated).formula1 == '"A,B,C,D"'
    assert rule("read_on").type == "date"
    assert not rule("instrument").showErrorMessage


def test_what_was_filled_in_is_taken_once(book, store, tmp_path):
    tab = book["readings"]
    fill(tab, 2, **FILLED, spot_values="0.71 0.71 0.716")
    fill(tab, 3, **FILLED, remark="=a remark")
    book.save(tmp_path / "round.xlsx")
    with open_ledger(store) as ledger:
        for stored in (2, 0):
            read = read_workbook(tmp_path / "round.xlsx", ledger.read())
            assert not read.blocked
            assert f"{tab.max_row - 3} rows without a value" in read.notes[-1]
            receipts = ledger.append(read.exposure, by="anna", source="round.xlsx")
            assert sum(one.stored for one in receipts) == stored
        rows = ledger.read().readings
    rows = rows[rows["read_on"] == "2025-10-06"].set_index("panel")
    assert rows["value"].tolist() == [0.712, 0.712]
    assert rows.loc["F1", ["instrument", "weighting"]].tolist() == ["SR-1", "G173 global tilt"]
    assert rows["extra"].isna().all()


def test_it_loads_as_a_readings_workbook_and_takes_no_fact_away(book, exposure, store, tmp_path):
    fill(book["readings"], 2, **FILLED)
    book.save(tmp_path / "round.xlsx")
    read = intake.read(tmp_path / "round.xlsx")
    assert len(read.exposure.readings) == 1
    assert {one.code for one in read.findings} == {"missing-value"}
    with open_ledger(store) as ledger:
        receipts = ledger.append(read.exposure, by="anna", source="round.xlsx")
        assert sum(one.changed for one in receipts) == 0
        assert sum(one.stored for one in receipts) == 1
        assert len(ledger.read().panels) == len(exposure.panels)


def test_what_cannot_stand_is_told_by_its_row(book, exposure, tmp_path):
    tab = book["readings"]
    fill(tab, 2, value=71.2, surface_state="as_exposed", surface_wetness="dry")
    fill(tab, 3, value=0.7)
    book.save(tmp_path / "round.xlsx")
    found = read_workbook(tmp_path / "round.xlsx", exposure).findings
    assert [(one.row, one.code) for one in found] == [
        (2, "percent-for-fraction"), (3, "missing-value"), (3, "missing-value"),
    ]  # fmt: skip
    (tmp_path / "no.xlsx").write_bytes(b"PK nothing")
    with pytest.raises(SourceError):
        read_workbook(tmp_path / "no.xlsx", exposure)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no poppler-utils")
@pytest.mark.parametrize("earlier", [False, True])
def test_the_printed_sheet_holds_all_panels_and_cautions(sheet, tmp_path, earlier):
    file = tmp_path / "round.pdf"
    file.write_bytes(paper_sheet(sheet, earlier=earlier))
    told = subprocess.run(
        ["pdftotext", "-layout", file, "-"], check=True, capture_output=True, text=True
    ).stdout.replace("\u200b", "")
    places = [told.index(f" {one.panel}\n") for one in sheet.panels]
    assert places == sorted(places)
    assert all(caution in told for caution in CAUTIONS)
    assert "page 1 of 1" in told
    assert ("0.710 on 2025-09-10" in told) is earlier
    size = subprocess.run(["pdfinfo", file], check=True, capture_output=True, text=True).stdout
    assert "841.89 x 595.276 pts (A4)" in size
