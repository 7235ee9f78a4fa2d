"""A workbook holds the same sheets as a folder; what is no workbook is one clear error."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import date, datetime

import pytest
from openpyxl import Workbook
from openpyxl.chart import LineChart, Reference
from pandas.testing import assert_frame_equal

from aging import intake
from aging.errors import SourceError
from aging.intake import workbook

SHEETS = {
    "sites": "site,latitude_deg,elevation_m\nS1,-26.5,3\n",
    "formulations": "formulation,role,silica_wt_pct\nF1,control,0\nF2,candidate,8.5\n",
    "events": "on,kind,site,panel,remark\n2024-03-02,wash,,A1,\n2024-03-03T10:30:00,dust,S1,,big\n",
    "weather__S1": "date,rain_mm\n2024-03-01,0\n2024-03-02,12.5\n",
}


def typed(text):
    for read in (float, date.fromisoformat, datetime.fromisoformat):
        try:
            return read(text)
        except ValueError:
            continue
    return text or None


@pytest.fixture
def book(folder, tmp_path_factory):
    """Write the sheets of a folder as tabs of a workbook, numbers and dates as such."""

    def write(**tabs):
        path = folder(**SHEETS)
        result = Workbook()
        result.remove(result.active)
        for file in sorted(path.rglob("*.csv")):
            name = f"weather {file.stem}" if file.parent != path else file.stem.title()
            tab = result.create_sheet(tabs.get(file.stem, name))
            for row in csv.reader(io.StringIO(file.read_text())):
                tab.append([typed(cell) for cell in row])
        return path, result, tmp_path_factory.mktemp("book") / "exposure.xlsx"

    return write


def test_a_workbook_reads_like_the_folder(book):
    folder, tabs, path = book()
    chart = LineChart()
    chart.add_data(Reference(tabs["Readings"], min_col=4, min_row=1, max_row=3))
    tabs["Readings"].add_chart(chart, "H2")
    tabs.create_chartsheet("Plot")
    tabs.create_sheet("Notes")["B7"] = "mind the gap"
    tabs.save(path)
    left, right = intake.read(folder), intake.read(path)
    for (name, one), (_, other) in zip(
        left.exposure.frames(), right.exposure.frames(), strict=True
    ):
        assert_frame_equal(one, other, obj=name)
    assert len(right.exposure.weather) == 2
    assert right.tallies == left.tallies
    assert right.findings == left.findings == ()
    assert "not read: Plot, Notes" in right.notes


def test_findings_name_the_tab_and_its_own_row(book):
    _, tabs, path = book()
    tabs["Readings"].insert_rows(1, 2)
    tabs["Readings"]["D4"] = "0,812"
    tabs["Readings"]["B5"] = 45352
    tabs["Readings"]["B5"].number_format = "General"
    tabs.save(path)
    assert [(f.code, f.sheet, f.row, f.seen) for f in intake.read(path).findings] == [
        ("not-a-number", "Readings", 4, "0,812"),
        ("not-a-date", "Readings", 5, "45352"),
    ]


def test_a_workbook_without_readings_says_which_tabs_it_has(book):
    _, tabs, path = book(readings="Ablesungen")
    tabs.save(path)
    with pytest.raises(SourceError, match=r"no readings sheet; found: .*Ablesungen"):
        intake.read(path)


def test_a_stray_cell_far_out_is_refused_before_it_fills_the_memory(book):
    _, tabs, path = book()
    tabs["Readings"]["XFD1048576"] = "x"
    tabs.save(path)
    with pytest.raises(SourceError, match="1048576 rows and 16384 columns"):
        intake.read(path)


def test_an_empty_styled_cell_far_out_is_harmless(book):
    _, tabs, path = book()
    tabs["Readings"]["XFD1048576"].number_format = "0.00"
    tabs.save(path)
    assert len(intake.read(path).exposure.readings) == 2


def test_a_workbook_that_unpacks_too_large_is_refused(book, monkeypatch):
    _, tabs, path = book()
    tabs.save(path)
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/media/zeros.bin", bytes(2_000_000))
    assert path.stat().st_size < 50_000
    monkeypatch.setattr(workbook, "MOST_BYTES", 1_000_000)
    with pytest.raises(SourceError, match="unpacks to more than 1 MB"):
        intake.read(path)


def broken(path, kind):
    whole = path.read_bytes()
    if kind == "text":
        return b"panel,read_on\n"
    if kind == "empty":
        return b""
    if kind == "cut":
        return whole[: len(whole) // 2]
    if kind == "flipped":
        return whole[:600] + bytes(255 - byte for byte in whole[600:700]) + whole[700:]
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("hello.txt", "a zip, but no workbook")
    return path.read_bytes()


@pytest.mark.parametrize("kind", ["text", "empty", "cut", "flipped", "zip"])
def test_what_is_no_workbook_is_one_clear_error(book, kind):
    _, tabs, path = book()
    tabs.save(path)
    path.write_bytes(broken(path, kind))
    with pytest.raises(SourceError, match="not a"):
        intake.read(path)
