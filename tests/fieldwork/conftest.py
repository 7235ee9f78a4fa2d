"""One invented site with a short rack, in a store, and a browser that cannot reach any network."""

from __future__ import annotations

import shutil

import pytest

from aging import intake
from aging.fieldwork import html, round_sheet
from aging.ledger import open_ledger

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--no-first-run"]  # fmt: skip
PHONE = {"width": 390, "height": 844}
ON = "2025-10-06"
HUNG = [
    ("P10", "R1", "c10", "exposed", ""), ("P2", "R1", "c2", "exposed", ""),
    ("P1", "R1", "c1", "exposed", ""), ("P3", "R2", "c1", "exposed", ""),
    ("F1", "", "", "file_specimen", ""), ("P0", "R1", "c3", "exposed", "2025-09-01"),
    ("P4", "R1", "c4", "exposed", ""), ("P5", "R1", "c5", "exposed", ""),
]  # fmt: skip
READ = [
    *((panel, day, "solar_reflectance", value) for panel, *_ in HUNG
      for day, value in (("2025-03-05", 0.85), ("2025-09-01", 0.75))),
    ("P1", "2025-09-10", "solar_reflectance", 0.71),
    ("P1", "2025-09-01", "chalking_astm", 9),
]  # fmt: skip


@pytest.fixture(scope="session")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("rack")
    panels = "panel,formulation,site,exposed_on,rack,position,kind,closed_on\n" + "".join(
        f"{panel},F,HILL,2025-03-05,{rack},{position},{kind},{closed}\n"
        for panel, rack, position, kind, closed in HUNG
    )
    rows = "panel,read_on,property,value,spots,instrument,weighting,operator,method\n" + "".join(
        f"{panel},{day},{name},{value},{3 if value < 1 else ''},"
        f"{'SR-1,G173 global tilt' if value < 1 else ','},anna,{'' if value < 1 else 'D'}\n"
        for panel, day, name, value in READ
    )
    (made / "panels.csv").write_text(panels)
    (made / "readings.csv").write_text(rows)
    (made / "events.csv").write_text("on,kind,panel\n2025-09-20,loss,P4\n")
    return made


@pytest.fixture(scope="session")
def exposure(folder):
    read = intake.read(folder)
    assert not read.findings
    return read.exposure


@pytest.fixture
def store(exposure, tmp_path):
    path = tmp_path / "trial.sqlite"
    with open_ledger(path, create=True) as book:
        book.append(exposure, by="desk", source="test")
    return path


@pytest.fixture(scope="session")
def sheet(exposure):
    return round_sheet(exposure, "HILL", ON)


@pytest.fixture(scope="session")
def page_file(sheet, tmp_path_factory):
    path = tmp_path_factory.mktemp("sheet") / "round.html"
    path.write_text(html(sheet), encoding="utf-8")
    return path


@pytest.fixture
def phone(playing, page_file):
    """Open the sheet on a phone whose memory is a folder; its faults and requests are kept."""
    opened, told = [], []

    def start(memory, width=390, script=""):
        context = playing.chromium.launch_persistent_context(
            str(memory), executable_path=CHROMIUM, args=FLAGS, offline=True,
            viewport={**PHONE, "width": width}, accept_downloads=True,
        )  # fmt: skip
        opened.append(context)
        if script:
            context.add_init_script(script)
        page = context.pages[0]
        page.on("pageerror", lambda error: told.append(str(error)))
        page.on("console", lambda line: line.type == "error" and told.append(line.text))
        context.on("request", lambda one: one.url.startswith(("file:", "blob:", "data:"))
                   or told.append(one.url))  # fmt: skip
        page.goto(page_file.as_uri())
        return page

    yield start
    for context in opened:
        context.close()
    assert told == []
