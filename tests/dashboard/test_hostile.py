"""Input that means harm, through every way in: refused, or kept as the text it is.

Nothing of it is run, rendered or asked of a server outside.
"""

from __future__ import annotations

import json
import socket
import subprocess
import sys
import time
import tomllib
import uuid
import zipfile
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.request import urlopen

import pytest
from openpyxl import Workbook
from streamlit.testing.v1 import AppTest
from walk import calm

from aging import intake
from aging.cli import app as command
from aging.errors import SourceError
from aging.fieldwork import html, round_sheet
from aging.fieldwork.photos import redrawn
from aging.fieldwork.report import visit_report
from aging.fieldwork.report_pages import as_html
from aging.fieldwork.round_file import read_round
from aging.ledger import export, open_ledger
from dashboard.launch import APP, SOURCE

OUTSIDE = "http://outside.example"
TEXTS = {
    "tag": f"<img src={OUTSIDE}/a.png onerror=hit=1>", "script": "<script>hit=1</script>",
    "picture": f"![x]({OUTSIDE}/b.png)", "link": "[x](javascript:hit=1)",
    "formula": "=cmd|' /C calc'!A0", "dde": "@SUM(1+1)*cmd", "path": "../../../etc/passwd",
    "root": "/etc/passwd", "template": "{{7*7}}${7*7}", "quote": "'); DROP TABLE panels;--",
    "vega": "datum['a']);hit=1;//", "typst": '#read("/etc/passwd")',
}  # fmt: skip
UNSEEN = {"right to left": "P\u202e1", "isolate": "P\u20661", "nul": "P\x001", "bell": "P\a1",
          "escape": "P\x1b[31m1"}  # fmt: skip
TODAY = datetime.now(UTC).date()
HUNG, READ = TODAY - timedelta(days=200), TODAY - timedelta(days=30)


def sheets(text: str) -> dict[str, list[list[str]]]:
    """A small exposure in which every free text is the hostile one."""
    return {
        "sites": [["site", "name", "timezone"], [text, text, "UTC"]],
        "formulations": [["formulation", "role", "description"], [text, "control", text]],
        "panels": [["panel", "formulation", "site", "exposed_on", "rack", "position"],
                   [text, text, text, str(HUNG), text, text]],
        "readings": [["panel", "read_on", "property", "value", "instrument", "operator", "remark"],
                     [text, str(READ), "solar_reflectance", "0.7", text, text, text]],
        "events": [["on", "kind", "panel", "remark"], [str(READ), "other", text, text]],
    }  # fmt: skip


def as_folder(made: Path, text: str) -> Path:
    for name, rows in sheets(text).items():
        lines = (",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in rows)
        (made / f"{name}.csv").write_text("\n".join(lines), encoding="utf-8")
    return made


def as_workbook(made: Path, text: str) -> Path:
    book = Workbook()
    for name, rows in sheets(text).items():
        tab = book.create_sheet(name)
        for row in rows:
            tab.append(row)
        for cells in tab.iter_rows():
            for cell in cells:
                cell.data_type = "s"
    book.save(made / "facts.xlsx")
    return made / "facts.xlsx"


@pytest.mark.parametrize("form", [as_folder, as_workbook])
@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
def test_text_stays_text_or_is_refused(tmp_path, form, text):
    read = intake.read(form(tmp_path, text))
    kept = read.exposure.panels["panel"].tolist()
    assert kept == [text] or (kept == [] and read.blocked)
    assert all(remark == text for remark in read.exposure.readings["remark"])


@pytest.mark.parametrize("text", UNSEEN.values(), ids=UNSEEN)
def test_what_cannot_be_seen_in_a_name_is_refused_and_shown(tmp_path, text):
    read = intake.read(as_folder(tmp_path, text))
    assert read.exposure.panels.empty
    assert read.blocked
    assert all(one.seen.isprintable() for one in read.findings)


def test_a_workbook_of_nothing_but_air_is_refused_before_it_is_unpacked(tmp_path):
    bomb = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", bytes(60_000_000))
    assert bomb.stat().st_size < 100_000
    with pytest.raises(SourceError, match="unpacks to more than"):
        intake.read(bomb)


def test_an_error_shows_no_details_and_sends_nobody_to_another_site():
    client = tomllib.loads((APP.parent / ".streamlit/config.toml").read_text("utf-8"))["client"]
    assert client["showErrorDetails"] == "none"
    assert client["showErrorLinks"] is False


def test_uploads_are_limited_by_the_server_and_by_the_layer():
    settings = tomllib.loads((APP.parent / ".streamlit/config.toml").read_text("utf-8"))["server"]
    assert settings["maxUploadSize"] <= 25
    assert settings["enableXsrfProtection"]
    assert not settings["enableStaticServing"]
    with pytest.raises(SourceError, match="allowed: up to"):
        redrawn(b"\0" * 200_000_000)
    with pytest.raises(SourceError, match="at most"):
        read_round(b"[" * 200_000_000, None)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def taken_in(tmp_path_factory):
    """A store that kept a hostile text in every place where text may stand."""
    made = tmp_path_factory.mktemp("hostile")
    for place, text in enumerate((TEXTS["tag"], TEXTS["picture"], TEXTS["formula"])):
        (made / str(place)).mkdir()
        with open_ledger(made / "hostile.sqlite", create=True) as book:
            book.append(intake.read(as_folder(made / str(place), text)).exposure,
                        by="desk", source=text)  # fmt: skip
    return made / "hostile.sqlite"


def test_exports_stay_in_their_folder_and_run_nothing(taken_in, tmp_path):
    (tmp_path / "in").mkdir()
    with open_ledger(taken_in) as book:
        export(book, tmp_path / "in" / "out")
    assert [one.name for one in tmp_path.iterdir()] == ["in"]
    told = (tmp_path / "in/out/panels.csv").read_text("utf-8")
    assert "'=cmd|" in told
    assert "\n=cmd|" not in told
    assert command(["story", str(taken_in), TEXTS["tag"]]) == 0


def test_files_for_a_browser_escape_it(taken_in):
    with open_ledger(taken_in) as book:
        exposure = book.read()
    for text in (TEXTS["tag"], TEXTS["picture"]):
        pages = [html(round_sheet(exposure, text, str(TODAY))),
                 as_html(visit_report(exposure, text, str(READ)))]  # fmt: skip
        for page in pages:
            assert "<img src=http" not in page
            assert f'src="{OUTSIDE}' not in page


@pytest.mark.parametrize("text", [*TEXTS.values(), *UNSEEN.values()], ids=[*TEXTS, *UNSEEN])
def test_a_round_file_is_held_to_the_same_rules(taken_in, text):
    with open_ledger(taken_in) as book:
        known = book.read()
    row = {"reading_id": str(uuid.uuid4()), "panel": TEXTS["tag"], "property": "solar_reflectance",
           "value": 0.7, "spot_values": [0.7, 0.7, 0.7], "spot_sd": 0.0, "spots": 3,
           "read_on": f"{TODAY}T10:00", "surface_state": "as_exposed", "surface_wetness": "dry",
           "instrument": "SR-1", "weighting": "G173", "operator": "anna",
           "remark": text}  # fmt: skip
    file = {"format": "round-file", "version": 1, "exported_at": f"{TODAY}T11:00:00Z",
            "sheet": {"sheet_id": text, "site": TEXTS["tag"], "on": str(TODAY)},
            "readings": [row, {**row, "reading_id": "../../x", "panel": text + "/.."}],
            "not_read": []}  # fmt: skip
    read = read_round(json.dumps(file).encode(), known)
    assert len(read.exposure.readings) <= 1
    assert read.blocked
    assert all(remark == text for remark in read.exposure.readings["remark"])
    assert all(one.seen.isprintable() for one in read.findings)


@pytest.fixture(scope="module")
def address(taken_in, tmp_path_factory):
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with (tmp_path_factory.mktemp("log") / "server.log").open("w") as log:
        command = [sys.executable, "-m", "aging", "dashboard", str(taken_in), "--port", str(port)]
        server = subprocess.Popen(command, stdout=log, stderr=log)
    url = f"http://127.0.0.1:{port}"
    for _ in range(240):
        assert server.poll() is None
        try:
            with urlopen(f"{url}/_stcore/health", timeout=2):  # noqa: S310
                break
        except OSError:
            time.sleep(0.25)
    yield url
    server.terminate()
    server.wait(timeout=20)


VIEWS = ("overview", "log", "story", "doubts", "due", "decay", "instruments", "holding", "claims")


@pytest.mark.parametrize("view", VIEWS)
def test_no_page_takes_it_for_markup(taken_in, monkeypatch, view):
    monkeypatch.setenv(SOURCE, str(taken_in))
    page = AppTest.from_file(str(APP), default_timeout=120).run()
    page.switch_page(f"views/{view}.py").run()
    assert not page.exception
    kinds = (page.markdown, page.title, page.header, page.subheader, page.caption, page.info,
             page.warning, page.error, page.success)  # fmt: skip
    shown = "\n".join(str(one.value) for kind in kinds for one in kind)
    assert not any(text in shown for text in TEXTS.values())
    widgets = (*page.button, *page.selectbox, *page.text_input, *page.radio, *page.number_input)
    assert not any(text in one.label for one in widgets for text in TEXTS.values())


def test_a_browser_asks_nothing_outside_and_runs_nothing(browser, address):
    page = browser.new_context().new_page()
    asked, spoke = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("dialog", lambda dialog: (spoke.append(dialog.message), dialog.dismiss()))
    for view in (
        "",
        "log?site=<script>hit=1</script>&panel=%00",
        "story?panel=../../x&panel=P1",
        "doubts?finding=%E2%80%AE1",
        "overview?level=inf",
        f"due?site={'x' * 10_000}",
    ):
        page.goto(f"{address}/{view}")
        page.get_by_role("heading", level=1).wait_for(timeout=120_000)
        calm(page)
        assert page.evaluate("typeof window.hit") == "undefined"
        assert page.get_by_test_id("stException").count() == 0
    assert [u for u in asked if not u.startswith((address, "data:", "blob:", "ws://127."))] == []
    assert spoke == []
