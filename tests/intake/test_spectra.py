"""Files of spectra: what is read, what is found, and that only what is at fault is refused."""

from __future__ import annotations

import numpy as np
import pytest
from openpyxl import Workbook

from aging.errors import SourceError
from aging.intake.spectra import CODES, read_spectra

GRID = np.arange(300, 2501, 20)
WHITE = np.round(np.linspace(0.4, 0.9, GRID.size), 4)


def lines(*columns, at=GRID, heading="wavelength_nm,A,B"):
    columns = columns or (WHITE, WHITE - 0.1)
    return [heading, *(",".join(f"{x:g}" for x in row) for row in zip(at, *columns, strict=True))]


@pytest.fixture
def read(tmp_path):
    def reader(text, name="spectra.csv"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else "\n".join([*text, ""]).encode())
        return read_spectra(path)

    return reader


def changed(place, line, table=None):
    table = table or lines()
    return [*table[:place], line, *table[place + 1 :]]


def test_a_plain_table(read):
    found = read(lines())
    assert (found.samples, found.findings, found.blocked) == (("A", "B"), (), False)
    assert found.wavelength_nm == pytest.approx(GRID)
    assert found.reflectance == pytest.approx(np.array([WHITE, WHITE - 0.1]))


def test_percent_by_its_heading_preamble_and_decimal_commas(read):
    table = [line.replace(",", ";").replace(".", ",") for line in lines(100 * WHITE, WHITE)]
    table[0] = "nm;A %R;B"
    found = read(["Scan of 2025-05-05", "", *table, "", "end of scan"])
    assert found.samples == ("A %R", "B")
    assert found.reflectance == pytest.approx(np.array([WHITE, WHITE]))
    assert [note.split(": ")[2] for note in found.notes] == [
        "1 rows above the heading", "1 rows below",
    ]  # fmt: skip


def test_without_a_heading_the_file_names_its_sample(read):
    assert read(lines(WHITE)[1:], "P-17.txt").samples == ("P-17",)


def test_a_workbook(tmp_path):
    book = Workbook()
    for row in [("nm", "A"), *zip(GRID.tolist(), WHITE.tolist(), strict=True)]:
        book.active.append(row)
    book.save(tmp_path / "spectra.xlsx")
    found = read_spectra(tmp_path / "spectra.xlsx")
    assert found.findings == ()
    assert found.reflectance == pytest.approx(WHITE[np.newaxis])


def test_descending_wavelengths_are_turned_round(read):
    found = read([lines()[0], *lines()[:0:-1]])
    assert [finding.code for finding in found.findings] == ["descending-wavelengths"]
    assert not found.blocked
    assert found.wavelength_nm == pytest.approx(GRID)
    assert found.reflectance[0] == pytest.approx(WHITE)


def jcamp(*, x="NANOMETERS", y="REFLECTANCE", first=300, last=2500, scale=1e-4, values=WHITE):
    head = {
        "TITLE": "white", "JCAMP-DX": 4.24, "DATA TYPE": "UV/VIS SPECTRUM", "XUNITS": x,
        "YUNITS": y, "FIRSTX": first, "LASTX": last, "NPOINTS": len(values), "XFACTOR": 1,
        "YFACTOR": scale,
    }  # fmt: skip
    at = np.linspace(first, last, len(values))
    data = [f"{x:g} {v:.0f}" for x, v in zip(at, values / scale, strict=True)]
    return [*(f"##{k}={v}" for k, v in head.items()), "##XYDATA=(X++(Y..Y))", *data, "##END="]


def test_jcamp_over_wavelength_in_fraction_and_percent(read):
    found = read(jcamp(), "white.jdx")
    assert (found.samples, found.findings) == (("white",), ())
    assert found.wavelength_nm == pytest.approx(GRID)
    assert found.reflectance == pytest.approx(WHITE[np.newaxis])
    percent = read(jcamp(y="% REFLECTANCE", values=100 * WHITE), "white.dx")
    assert percent.reflectance == pytest.approx(WHITE[np.newaxis])


def test_jcamp_over_wavenumber(read):
    found = read(jcamp(x="1/CM", first=4000, last=34000, values=np.full(6001, 0.5)), "w.jdx")
    assert not found.blocked
    assert found.wavelength_nm[[0, -1]] == pytest.approx([1e7 / 34000, 2500])
    assert np.all(np.diff(found.wavelength_nm) > 0)


@pytest.mark.parametrize("values", [np.full(6001, 0.5), np.full(1, 0.5)])
def test_a_wavenumber_of_nothing_is_no_wavelength(values, read):
    try:
        found = read(jcamp(x="1/CM", first=0, last=34000, values=values), "w.jdx")
    except SourceError as error:
        assert "w.jdx" in str(error)  # noqa: PT017
    else:
        assert "damaged" in {finding.code for finding in found.findings}


def test_bytes_gone_astray_end_in_findings_or_one_clear_error(read):
    random = np.random.default_rng(11)
    outcomes = set()
    for name, table in (("s.csv", lines()), ("s.jdx", jcamp())) * 40:
        data = bytearray("\n".join([*table, ""]).encode())
        for place in random.integers(0, len(data), 6):
            data[place] = random.integers(0, 256)
        try:
            found = read(bytes(data), name)
        except SourceError:
            outcomes.add("error")
        else:
            assert found.reflectance.shape == (len(found.samples), found.wavelength_nm.size)
            assert {finding.code for finding in found.findings} <= set(CODES)
            outcomes.add("blocked" if found.blocked else "read")
    assert {"blocked", "error"} <= outcomes


CASES = {
    "no-rows": ["wavelength,A", "none,none"],
    "no-sample": ["wavelength", *map(str, GRID)],
    "extra-cells": changed(5, "380,0.5,0.5,0.5"),
    "not-nanometres": lines(heading="wavenumber (cm-1),A,B"),
    "not-a-number": changed(5, "380,half,0.5"),
    "duplicate-wavelength": [*lines()[:5], "360,0.5,0.5", *lines()[5:]],
    "unordered-wavelengths": [*lines()[:5], "310,0.5,0.5", *lines()[5:]],
    "coverage": lines(at=GRID + 30),
    "gap": [*lines()[:30], *lines()[33:]],
    "duplicate-sample": lines(heading="nm,A,A"),
    "missing-value": changed(5, "380,,0.5"),
    "percent-for-fraction": lines(100 * WHITE, WHITE),
    "out-of-range": changed(5, "380,1.2,0.5"),
    "descending-wavelengths": [lines()[0], *lines()[:0:-1]],
}
ONE_SAMPLE = {"not-a-number", "missing-value", "percent-for-fraction", "out-of-range"}
NONE = {"gap", "descending-wavelengths"}


@pytest.mark.parametrize("code", CASES)
def test_each_fault_is_found_and_refuses_no_more_than_it_must(code, read):
    found = read(CASES[code])
    assert {finding.code for finding in found.findings} == {code}
    left = ("B",) if code in ONE_SAMPLE else ("A", "B") if code in NONE else ()
    assert found.samples == left
    assert found.reflectance.shape == (len(left), found.wavelength_nm.size)
    assert found.blocked == (code not in NONE)
    assert all(finding.allowed and finding.action for finding in found.findings)


JCAMP_CASES = {
    "not-nanometres": jcamp(x="SECONDS"),
    "not-reflectance": jcamp(y="ABSORBANCE"),
    "damaged": changed(14, "999 5000", jcamp()),
    "different-wavelengths": [
        "##TITLE=two", "##JCAMP-DX=4.24", "##DATA TYPE=LINK", "##BLOCKS=2",
        *jcamp(), *jcamp(first=290), "##END=",
    ],
}  # fmt: skip


@pytest.mark.parametrize("code", JCAMP_CASES)
def test_each_fault_of_jcamp_is_found(code, read, capsys):
    found = read(JCAMP_CASES[code], "white.jdx")
    assert {finding.code for finding in found.findings} == {code}
    assert (found.samples, found.blocked) == ((), True)
    assert capsys.readouterr().out == ""


def test_every_code_has_its_case():
    assert set(CASES) | set(JCAMP_CASES) == set(CODES)


def test_faults_are_found_all_at_once_where_they_stand(read):
    table = lines(WHITE, 100 * WHITE)
    table[3] = "340,1.3,41"
    table[40:45] = []
    found = read(table)
    at = {finding.code: (finding.row, finding.column, finding.seen) for finding in found.findings}
    assert at == {
        "gap": (40, "wavelength", "1060 to 1180 nm"),
        "out-of-range": (4, "A", "1.3 at 340 nm"),
        "percent-for-fraction": (2, "B", "40 at 300 nm and 105 more"),
    }


def test_noise_beyond_the_sun_is_no_matter(read):
    table = lines()
    table.insert(1, "260,-0.02,")
    table.insert(2, "280,-0.01,")
    assert read(table).samples == ("A", "B")


@pytest.mark.parametrize("name", ["lost.csv", "lost.jdx", "lost.xlsx", "photo.png"])
def test_what_cannot_be_read_is_said(name, tmp_path):
    with pytest.raises(SourceError, match=name):
        read_spectra(tmp_path / name)


@pytest.mark.parametrize("name", ["broken.jdx", "broken.xlsx"])
def test_what_is_no_spectrum_at_all(name, read):
    try:
        found = read(b"PK\x00\xff nothing of the kind", name)
    except SourceError as error:
        assert name in str(error)  # noqa: PT017
    else:
        assert found.blocked


def test_every_tab_with_spectra_is_read_and_told(tmp_path):
    book = Workbook()
    for tab, sample, lower in (("Initial", "R", 0), ("Aged", "R", 0.1), ("Washed", "P2", 0.2)):
        sheet = book.create_sheet(tab)
        for row in [("nm", sample), *zip(GRID.tolist(), (WHITE - lower).tolist(), strict=True)]:
            sheet.append(row)
    book["Sheet"].append(["scanned by op1"])
    book.save(tmp_path / "spectra.xlsx")
    found = read_spectra(tmp_path / "spectra.xlsx")
    assert found.samples == ("Initial R", "Aged R", "P2")
    assert found.reflectance == pytest.approx(np.stack([WHITE, WHITE - 0.1, WHITE - 0.2]))
    assert found.notes == (
        "spectra.xlsx: tabs read: Initial, Aged, Washed; without spectra: Sheet",
    )  # fmt: skip
    book["Aged"]["A5"] = 361
    book["Washed"]["B9"] = "x"
    book.save(tmp_path / "spectra.xlsx")
    found = read_spectra(tmp_path / "spectra.xlsx")
    assert {(one.sheet, one.row, one.code) for one in found.findings} == {
        ("spectra.xlsx, Aged", 4, "gap"),
        ("spectra.xlsx, Washed", 9, "not-a-number"),
        ("spectra.xlsx", None, "different-wavelengths"),
    }
    assert found.samples == ()
