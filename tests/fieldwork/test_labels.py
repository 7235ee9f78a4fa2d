"""Labels as a phone sees them: each printed code is read from the rendered page."""

from __future__ import annotations

import shutil
import subprocess
from urllib.parse import parse_qs, urlsplit

import pandas as pd
import pytest
import zxingcpp
from PIL import Image

from aging.errors import CallError
from aging.fieldwork.labels import blind_codes, entry_address, label_sheet

HOST = "http://192.168.1.20:8501"
NAMES = ["P1", "a b/c&d=e #1", "*bold* $x$ #panic()", "Ä-ñ", "=1+1", "X" * 120]
NAMES += [f"SITE-F{k % 4}-{k}" for k in range(24)]
PANELS = pd.DataFrame({"panel": NAMES, "site": "HILL", "formulation": "FORMULA-7"})
needs_poppler = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="no poppler-utils")


def pages(pdf, folder, dots=150):
    file = folder / "labels.pdf"
    file.write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-r", str(dots), "-gray", "-png", file, folder / "page"], check=True
    )
    return sorted(folder.glob("page*.png"))


def codes(files):
    found = []
    for file in files:
        with Image.open(file) as picture:
            found += zxingcpp.read_barcodes(picture)
    return found


def text(pdf, folder):
    file = folder / "labels.pdf"
    file.write_bytes(pdf)
    told = subprocess.run(["pdftotext", file, "-"], check=True, capture_output=True, text=True)
    return "".join(told.stdout.replace("\u200b", "").split())


@needs_poppler
@pytest.mark.parametrize("blind", [False, True])
def test_every_code_opens_its_panel_at_level_h(tmp_path, blind):
    files = pages(label_sheet(PANELS, f"{HOST}/", blind=blind), tmp_path)
    assert len(files) == 2  # 24 labels a sheet
    found = codes(files)
    assert {code.ec_level for code in found} == {"H"}
    parts = [urlsplit(code.text) for code in found]
    assert {f"{part.scheme}://{part.netloc}{part.path}" for part in parts} == {f"{HOST}/log"}
    assert sorted(parse_qs(part.query)["panel"][0] for part in parts) == sorted(NAMES)


@needs_poppler
def test_a_code_reads_with_a_blot_on_it(tmp_path):
    file = pages(label_sheet(PANELS[:1], HOST), tmp_path)[0]
    with Image.open(file) as picture:
        page = picture.convert("L")
    code = zxingcpp.read_barcodes(page)[0].position
    left, right = code.top_left.x, code.top_right.x
    side = (right - left) // 4
    x, y = left + side * 3 // 2, code.top_left.y + side * 3 // 2
    page.paste(255, (x, y, x + side, y + side))
    assert zxingcpp.read_barcodes(page)[0].text == entry_address(HOST, "P1")


@needs_poppler
def test_names_are_printed_as_they_are_and_a_blind_label_tells_none(tmp_path):
    seen = text(label_sheet(PANELS, HOST), tmp_path)
    assert all("".join(name.split()) in seen for name in NAMES)
    assert "FORMULA-7" in seen
    hidden = text(label_sheet(PANELS, HOST, blind=True), tmp_path)
    assert "FORMULA-7" not in hidden
    assert "SITE-F" not in hidden
    assert all(code in hidden for code in blind_codes(NAMES).values())


def test_blind_codes_are_of_their_own_and_last():
    many = [f"P{k}" for k in range(5000)]
    found = blind_codes(many)
    assert len(set(found.values())) == len(many)
    short = blind_codes(["P1"])["P1"]
    assert len(short) == 5
    assert found["P1"].startswith(short)


@pytest.mark.parametrize("address", ["pc:8501", "ftp://pc", "http://", "http://pc?x=1", ""])
def test_an_address_that_is_none_is_refused(address):
    with pytest.raises(CallError, match="address"):
        entry_address(address, "P1")


@pytest.mark.parametrize("grid", [(0, 8), (9, 8), (3, 40)])
def test_a_grid_that_no_code_fits_is_refused(grid):
    with pytest.raises(CallError, match="grid"):
        label_sheet(PANELS, HOST, grid=grid)
