"""A visit's report holds the figures a person would work out, and lets no text become markup."""

from __future__ import annotations

import re
import shutil
import subprocess
from io import BytesIO

import pandas as pd
import pytest
from PIL import Image

from aging.checks import check, settle
from aging.cli import app
from aging.errors import CallError
from aging.fieldwork import photos
from aging.fieldwork.report import visit_report
from aging.fieldwork.report_pages import as_html, as_pdf
from aging.fieldwork.story import kept
from aging.fieldwork.visit_figures import FILE, conditions, missing, values
from aging.ledger import open_ledger
from aging.records import exposure_with

ON = "2025-10-06"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
NASTY = "<script>alert(1)</script> #evil[*] $x$ https://example.invalid/a.png"
SHARED = {"property": "solar_reflectance", "surface_state": "as_exposed", "instrument": "SR-1",
          "weighting": "G173 global tilt", "operator": "anna", "read_on": ON}  # fmt: skip
READ = [
    {"panel": "P1", "value": 0.70}, {"panel": "P2", "value": 0.72}, {"panel": "P10", "value": 0.68},
    {"panel": "P3", "value": 0.50}, {"panel": "F1", "value": 0.845},
    {"panel": "P1", "value": 0.80, "surface_state": "washed"},
    {"panel": "P1", "value": 8, "property": "chalking_astm", "method": "D"},
    {"panel": "P2", "value": 5, "property": "chalking_astm", "method": "D",
     "surface_wetness": "wet"},
    {"panel": "P10", "value": 9, "property": "chalking_astm", "method": "D"},
]  # fmt: skip
SHEETS = {
    "readings": [SHARED | {"reading_id": f"r{at}"} | row for at, row in enumerate(READ)],
    "weather": [{"site": "HILL", "date": f"{pd.Timestamp(ON) - pd.Timedelta(days=ago):%Y-%m-%d}",
                 "rain_mm": {4: 6.0, 2: 4.9, 35: 50.0}.get(ago, 0.1), "temperature_C": 12.0}
                for ago in range(40)],
    "instruments": [{"instrument": "SR-1", "serial": "77", "calibration_due": "2026-01-01",
                     "tile": "T1", "tile_value": 0.86}],
    "instrument_checks": [{"instrument": "SR-1", "at": f"{ON}T08:00", "stage": "before",
                           "value": 0.862, "certified": 0.86}],
    "operators": [{"operator": "anna", "name": "Anna Invented"}],
    "events": [{"on": "2025-10-01", "kind": "other", "site": "HILL", "remark": NASTY}],
}  # fmt: skip


@pytest.fixture(scope="module")
def book(exposure, tmp_path_factory):
    with open_ledger(tmp_path_factory.mktemp("report") / "a.sqlite", create=True) as book:
        book.append(exposure, by="desk", source="t")
        for name, rows in SHEETS.items():
            book.append(exposure_with(name, rows), by="desk", source="t")
        book.correct("r3", 0.71, by="lead", reason=NASTY)
        found = check(book.read())
        rows = found.frame[found.frame["reading_id"] == "r7"]
        settle(book, found, rows["finding"].iloc[0], "excluded", reason="rust stain", by="lead")
        picture = BytesIO()
        Image.new("RGB", (900, 700), "white").save(picture, "PNG")
        photos.keep(book, picture.getvalue(), "P1", taken_on=ON, by="anna", remark=NASTY)
        yield book


@pytest.fixture(scope="module")
def report(book):
    return visit_report(
        book.read(), "HILL", ON, known=kept(book.label, book.read()), watch=["Claim 7 rests."]
    )


def section(report, title):
    return next(one for one in report.sections if one.title == title)


def test_means_spread_and_change(book):
    rows = values(book.read(), "HILL", ON).set_index(["property", "formulation", "surface_state"])
    mine = rows.loc[("solar_reflectance", "F", "as_exposed")]
    read = pd.Series([0.70, 0.72, 0.68, 0.71])
    assert mine["panels"] == 4
    assert mine["mean"] == pytest.approx(read.mean())
    assert mine["sd"] == pytest.approx(read.std())
    assert mine["last_on"] == "2025-09-10"  # when P1 alone was read, at 0.71
    assert mine["change"] == pytest.approx(-0.01)
    filed = rows.loc[("solar_reflectance", f"F{FILE}", "as_exposed")]
    assert (filed["panels"], filed["mean"]) == (1, 0.845)
    assert rows.loc[("solar_reflectance", "F", "washed"), "mean"] == pytest.approx(0.80)


def test_a_rating_is_told_by_its_median_and_without_what_is_excluded(book):
    rows = values(book.read(), "HILL", ON)
    rating = rows[rows["property"] == "chalking_astm"].iloc[0]
    assert rating["panels"] == 2
    assert rating["mean"] == 8.5
    assert pd.isna(rating["sd"])


def test_what_is_missing_leaves_out_what_is_gone(book):
    rows = missing(book.read(), "HILL", ON).set_index("panel")["lacks"]
    assert rows.to_dict() == {"P5": "all of it"}
    late = missing(book.read(), "HILL", "2025-09-10").set_index("panel")["lacks"]
    assert "P4" in late.index  # lost ten days later
    assert "P0" not in late.index  # closed on 1 September
    assert "P1" not in late.index


def test_conditions_tell_rain_and_how_little_is_known_of_it(book):
    told = dict(conditions(book.read(), "HILL", ON))
    assert told["Rain in 30 days"] == "14 mm"
    assert told["Since rain of 5 mm or more in a day"] == "4 days"
    assert told["Mean temperature of the day"] == "12 °C"
    early = dict(conditions(book.read(), "HILL", "2025-09-03"))
    assert early["Rain in 30 days"].endswith("(known on 7 of 30 days)")
    unknown = dict(conditions(book.read(), "HILL", "2025-03-05"))
    assert set(unknown.values()) == {"not known", "unknown"}


def test_doubts_corrections_and_instruments_are_told(report):
    rows = section(report, "Doubts and corrections").rows
    settled = [row[-1] for row in rows]
    assert any(re.fullmatch(r"excluded by lead on \d{4}-\d\d-\d\d: rust stain", one)
               for one in settled)  # fmt: skip
    fixed = next(row for row in rows if row[1] == "was corrected")
    assert fixed[0] == "P3"
    assert fixed[2] == "SR 0.500"
    assert fixed[3].startswith("corrected to SR 0.710 by lead on ")
    tool = section(report, "Instruments").rows[0]
    assert tool == ("SR-1", "77", "SR, CH", "G173 global tilt", "2026-01-01, valid",
                    "before 0.862 (+0.002)")  # fmt: skip
    assert dict(report.facts)["Read by"] == "Anna Invented"
    assert section(report, "Standing claims").lines[1:] == ("Claim 7 rests.",)


def test_the_page_holds_everything_asks_for_nothing_and_repeats(report):
    page = as_html(report)
    assert page == as_html(report)
    assert "<script" not in page
    assert not re.search(r"(?:src|href)=\"(?!data:)", page)
    assert page.count("<svg") == 2
    assert 'src="data:image/jpeg;base64,' in page
    for text in ("Claim 7 rests.", "rust stain", "&lt;script&gt;", *report.cautions):
        assert text in page


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no poppler-utils")
def test_the_pdf_tells_the_same_literally_and_knows_no_hour(report, tmp_path):
    pdf = as_pdf(report)
    assert pdf == as_pdf(report)
    assert b"CreationDate" not in pdf
    (tmp_path / "a.pdf").write_bytes(pdf)
    done = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "a.pdf", "-"],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    text = done.stdout.replace("\u200b", "")
    for told in ("Claim 7 rests.", "rust stain", "#evil[*] $x$", "Anna Invented", "0.862"):
        assert told in text


@pytest.mark.parametrize("width", [390, 1280])
def test_nothing_stands_out_of_the_page(playing, report, tmp_path, width):
    (tmp_path / "a.html").write_text(as_html(report), encoding="utf-8")
    browser = playing.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
    page = browser.new_page(viewport={"width": width, "height": 900})
    page.goto((tmp_path / "a.html").as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    shown = page.evaluate("[...document.querySelectorAll('svg')].filter(e => e.clientWidth).length")
    assert shown == 1
    browser.close()


def test_the_command_writes_it(book, tmp_path, capsys):
    out = tmp_path / "visit.html"
    call = ["report", "--store", book.label, "--site", "HILL", "--on", ON, "--out"]
    assert app([*call, str(out)]) == 0
    assert "rust stain" in out.read_text(encoding="utf-8")
    assert app([*call, str(tmp_path / "visit.doc")]) == 2
    assert "ending in .html or .pdf" in capsys.readouterr().err


def test_a_visit_that_never_was(book):
    with pytest.raises(CallError, match=r"on: '2025-10-07' is not allowed.*2025-10-06"):
        visit_report(book.read(), "HILL", "2025-10-07")
    with pytest.raises(CallError, match="site: 'DALE'"):
        visit_report(book.read(), "DALE", ON)
