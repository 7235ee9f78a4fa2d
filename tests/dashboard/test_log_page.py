"""A visit on the page: what is asked, what is saved, and nothing lost when the link is."""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import threading
import time
from contextlib import closing, suppress
from datetime import UTC, datetime, timedelta
from datetime import time as clock
from pathlib import Path
from urllib.request import urlopen

import pytest
from streamlit.testing.v1 import AppTest

from aging import intake
from aging.fieldwork.labels import entry_address
from aging.fieldwork.patches import WEIGHTING
from aging.ledger import open_ledger
from dashboard import log
from dashboard import log_words as wording
from dashboard.launch import APP, SOURCE

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--no-first-run"]  # fmt: skip
START = "import sys; from dashboard.launch import launch; sys.exit(launch(sys.argv[1], port={}))"
PANELS = ("P1", "P2", "P3", "P4", "P5")
SHORT = """() => [...document.querySelectorAll('[data-testid=stMain] :is(button, input, summary)')]
  .map((one) => [one, one.getBoundingClientRect()])
  .filter(([, box]) => box.width && (box.width < 44 || box.height < 44 || box.right > innerWidth))
  .map(([one]) => one.outerHTML)"""


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> Path:
    """A store with five panels on a rack at the equator, a roof patch, and one more site."""
    made = tmp_path_factory.mktemp("rack")
    today = datetime.now(UTC).date()
    hung, read = today - timedelta(days=200), today - timedelta(days=30)
    (made / "sites.csv").write_text(
        "site,latitude_deg,longitude_deg,timezone\nHILL,0,0,UTC\nYARD,0,0,UTC\n"
    )
    rows = [*((one, "HILL", f"c{one[1]}", "exposed") for one in PANELS),
            ("R1", "HILL", "ponding 1", "roof_patch"), ("Y1", "YARD", "", "exposed")]  # fmt: skip
    (made / "panels.csv").write_text(
        "panel,formulation,site,exposed_on,rack,position,kind,tilt_deg\n"
        + "".join(f"{a},F,{b},{hung},A,{c},{d},0\n" for a, b, c, d in rows)
    )
    (made / "readings.csv").write_text(
        "panel,read_on,property,value,spots,instrument,weighting,method\n"
        + "".join(f"{one},{read},solar_reflectance,0.72,3,SR-1,G173,\n" for one, *_ in rows)
        + f"Y1,{read},chalking_astm,8,,,,D\n"
    )
    (made / "operators.csv").write_text("operator\nanna\nbert\n")
    store = made / "trial.sqlite"
    with open_ledger(store, create=True) as book:
        book.append(intake.read(made).exposure, by="desk", source="test")
    return store


@pytest.fixture
def store(filled, tmp_path) -> Path:
    return Path(shutil.copy(filled, tmp_path / "trial.sqlite"))


@pytest.fixture
def page(store, monkeypatch):
    monkeypatch.setenv(SOURCE, str(store))
    log.known.clear()
    log.sheet.clear()

    def run(**query: str) -> AppTest:
        app = AppTest.from_file(str(APP.parent / "views" / "log.py"), default_timeout=120)
        for key, value in query.items():
            app.query_params[key] = value
        return checked(app)

    return run


def checked(app: AppTest) -> AppTest:
    app.run()
    assert not app.exception
    return app


def stored(store: Path):
    with open_ledger(store) as book:
        rows = book.history(since=f"{datetime.now(UTC):%Y-%m-%d}")
        return rows[rows["operator"].notna()]


def by_label(widgets, label: str):
    return next(one for one in widgets if one.label == label)


def texts(app: AppTest) -> str:
    return "\n".join(str(one.value) for one in app.text)


def settle(app: AppTest, operator="anna", state="as_exposed", wetness="dry") -> AppTest:
    by_label(app.selectbox, wording.OPERATOR).set_value(operator)
    checked(app)
    by_label(app.button_group, wording.STATE).set_value(state)
    by_label(app.button_group, wording.WETNESS).set_value(wetness)
    by_label(app.selectbox, wording.INSTRUMENT + "Solar reflectance").set_value("SR-1, G173")
    return checked(app)


def tap(app: AppTest, label: str) -> AppTest:
    by_label(app.button, label).click()
    return checked(app)


def type_in(app: AppTest, text: str, label: str = "Solar reflectance") -> AppTest:
    by_label(app.text_input, label).set_value(text)
    return checked(app)


def at_hour(app: AppTest, hour: int) -> None:
    by_label(app.time_input, wording.PYRANOMETER_AT).set_value(clock(hour))
    checked(app)


def test_files_cannot_take_readings_and_the_page_says_how_they_can(folder, monkeypatch):
    monkeypatch.setenv(SOURCE, str(folder))
    app = checked(AppTest.from_file(str(APP.parent / "views" / "log.py"), default_timeout=120))
    assert wording.NEEDS_STORE in texts(app)
    assert "aging load" in app.code[0].value
    assert not app.text_input


def test_the_address_of_a_label_opens_its_panel(page):
    address = entry_address("http://rack-pc:8501", "P3")
    assert address.endswith("/log?panel=P3")
    app = page(panel="P3")
    chosen = {one.label: one.value for one in app.selectbox}
    assert (chosen["Site"], chosen["Panel"]) == ("HILL", "P3")
    assert page(panel="Y1").selectbox[0].value == "YARD"
    assert wording.UNKNOWN_PANEL + "P99" in texts(page(panel="P99"))


def test_a_reading_is_worked_out_asked_for_and_saved(page, store):
    app = tap(type_in(page(panel="P1"), "0,71 0.70 0.72"), wording.SAVE)
    assert "Mean 0.710, SD 0.0100, range 0.020; 3 of 3 spots. Last 0.720" in texts(app)
    told = texts(app)[texts(app).index(wording.LACKING) :]
    assert all(word in told for word in ("who reads", "surface state", "is", "instrument"))
    assert stored(store).empty
    tap(settle(app), wording.SAVE)  # what was typed first still stands there
    assert "Saved: 0.710, SD 0.0100 by anna" in texts(app)
    assert by_label(app.text_input, "Solar reflectance").value == ""
    tap(app, wording.SAVE)
    assert wording.NO_VALUE in texts(app)
    (row,) = stored(store).to_dict("records")
    assert (row["spot_values"], row["surface_wetness"]) == ("0.71 0.7 0.72", "dry")
    assert (row["instrument"], row["weighting"]) == ("SR-1", "G173")
    assert "1 read" in texts(app)
    assert by_label(app.selectbox, "Panel").value == "P1"
    assert by_label(tap(app, wording.NEXT).selectbox, "Panel").value == "P2"


def test_percent_is_divided_and_a_fall_is_kept_with_a_reason(page, store):
    app = type_in(settle(page(panel="P1")), "55 0.54 56")
    tap(app, wording.DIVIDE)
    assert by_label(app.text_input, "Solar reflectance").value == "0.55 0.54 0.56"
    tap(app, wording.SAVE)
    assert wording.UNANSWERED in texts(app)
    assert "fell faster" in texts(app)
    assert stored(store).empty
    by_label(app.selectbox, wording.KEEP).set_value(wording.REASONS[0])
    tap(checked(app), wording.SAVE)
    (row,) = stored(store).to_dict("records")
    kept = json.loads(json.loads(row["extra"])["kept"])
    assert kept == [{"rule": "fell-fast", "reason": wording.REASONS[0]}]
    with open_ledger(store) as book:
        assert book.read().settlements["decision"].tolist() == ["confirmed"]


def test_a_wet_panel_is_turned_away_and_no_number_named(page, store):
    app = tap(type_in(settle(page(panel="P1"), wetness="wet"), "0.71"), wording.SAVE)
    assert "read it again when dry" in texts(app)
    assert "O.71: no number" in texts(type_in(app, "O.71"))
    assert stored(store).empty


def test_two_people_are_told_of_each_other_and_one_corrects(page, store):
    mine, theirs = page(panel="P1"), page(panel="P1")
    for app, who, text in ((mine, "anna", "0.71"), (theirs, "bert", "0.70")):
        type_in(settle(app, who), text)
    tap(mine, wording.SAVE)
    tap(theirs, wording.SAVE)
    assert wording.ASKS in texts(theirs)
    assert "by anna" in texts(theirs)
    assert stored(store)["value"].tolist() == [0.71]
    by_label(theirs.button_group, wording.AGAIN).set_value(wording.CORRECT)
    tap(checked(theirs), wording.SAVE)
    assert wording.NO_REASON in texts(theirs)
    by_label(theirs.text_input, wording.REASON).set_value("misread")
    tap(checked(theirs), wording.SAVE)
    rows = stored(store)
    assert rows["value"].tolist() == [0.71, 0.70]
    assert rows["supersedes"].iloc[1] == rows["reading_id"].iloc[0]
    assert "Saved: 0.700 by bert" in texts(checked(mine))
    by_label(mine.button_group, wording.AGAIN).set_value(wording.ANOTHER)
    tap(type_in(checked(mine), "0.72"), wording.SAVE)
    assert stored(store)["value"].tolist() == [0.71, 0.70, 0.72]


def test_a_rating_has_its_steps_and_its_method(page, store):
    app = page(panel="Y1")
    by_label(app.selectbox, wording.OPERATOR).set_value("anna")
    checked(app)
    by_label(app.button_group, wording.STATE).set_value("as_exposed")
    by_label(app.button_group, wording.WETNESS).set_value("dry")
    steps = by_label(app.button_group, "Chalking (10 none)")
    assert steps.options == [str(step) for step in range(11)]
    steps.set_value(7.0)
    checked(app)
    [*_, save] = [one for one in app.button if one.label == wording.SAVE]
    save.click()
    checked(app)
    (row,) = stored(store).to_dict("records")
    assert (row["property"], row["value"], row["method"]) == ("chalking_astm", 7, "D")


def test_what_was_saved_is_left_out_with_a_reason_and_a_panel_told_lost(page, store):
    app = tap(type_in(settle(page(panel="P1")), "0.71"), wording.SAVE)
    by_label(app.selectbox, wording.WHICH).set_value(stored(store)["reading_id"].iloc[0])
    tap(checked(app), wording.LEAVE_OUT)
    assert "why it does not count" in texts(app)
    by_label(app.text_input, wording.LEAVE_REASON).set_value("wrong panel")
    tap(checked(app), wording.LEAVE_OUT)
    assert "0 read" not in texts(app)
    assert "6 panels: none read, 6 to read" in texts(app)
    assert len(stored(store)) == 1
    by_label(app.button_group, wording.WHY_NOT).set_value("lost")
    tap(checked(app), wording.SAY_SO)
    assert "1 not read, 5 to read" in texts(app)


def test_a_roof_is_read_in_the_sun_and_spot_by_spot(page, store):
    app = type_in(settle(page(panel="R1")), "0.70 0.72 0.71")
    assert "Read another spot" in texts(app)
    assert "rack A, ponding" in texts(app)
    by_label(app.text_input, wording.PYRANOMETER).set_value("PY-2")
    type_in(app, "900 905 898", wording.UP)
    at_hour(app, 18)
    type_in(app, "630 634 628", wording.DOWN)
    assert "45 degrees from the normal" in texts(app)
    at_hour(app, 12)
    assert "range 0.001; 3 pairs; sun " in texts(app)
    [_, save] = [one for one in app.button if one.label == wording.SAVE]
    save.click()
    checked(app)
    (row,) = stored(store).to_dict("records")
    assert (row["weighting"], row["instrument"], row["spots"]) == (WEIGHTING, "PY-2", 3)
    assert json.loads(row["extra"])["sun_to_normal_deg"] < 25


class Link:
    """The network between phone and server: cut, or deaf, so that no answer reaches the phone."""

    def __init__(self, port: int):
        self.to, self.up, self.deaf, self.open = port, True, False, []
        self.door = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self.door.getsockname()[1]}"
        self.serving = threading.Thread(target=self._serve)
        self.serving.start()

    def _serve(self) -> None:
        with suppress(OSError):
            while True:
                near = self.door.accept()[0]
                if not self.up:
                    near.close()
                    continue
                self.open.append(near)
                far = socket.create_connection(("127.0.0.1", self.to))
                self.open.append(far)
                for start, end, answers in ((near, far, False), (far, near, True)):
                    carry = threading.Thread(target=self._carry, args=(start, end, answers))
                    carry.daemon = True
                    carry.start()

    def _carry(self, start: socket.socket, end: socket.socket, answers: bool) -> None:
        with suppress(OSError):
            while data := start.recv(65536):
                if not (answers and self.deaf):
                    end.sendall(data)
        for one in (start, end):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def cut(self) -> None:
        self.up = False
        for one in self.open:
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()
        self.open = []

    def mend(self) -> None:
        self.up, self.deaf = True, False

    def close(self) -> None:
        self.up = False
        self.door.shutdown(socket.SHUT_RDWR)
        self.serving.join()
        self.door.close()
        self.cut()


@pytest.fixture
def link(store, tmp_path):
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with (tmp_path / "server.log").open("w") as told:
        command = [sys.executable, "-c", START.format(port), str(store)]
        server = subprocess.Popen(command, cwd=tmp_path, stdout=told, stderr=told)
    try:
        for _ in range(240):
            with suppress(OSError), urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=2):
                break
            time.sleep(0.25)
        made = Link(port)
        yield made
        made.close()
    finally:
        server.terminate()
        assert server.wait(timeout=20) is not None


@pytest.fixture(scope="module")
def browser():
    if CHROMIUM is None and not os.environ.get("REQUIRE_BROWSER"):
        pytest.skip("no chromium; REQUIRE_BROWSER=1 makes this a failure")
    assert CHROMIUM, "REQUIRE_BROWSER is set, and there is no chromium"
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        launched = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield launched
        launched.close()


class Phone:
    """A phone in the technician's hand."""

    def __init__(self, browser, link: Link):
        self.link = link
        self.page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
        self.page.set_default_timeout(60_000)
        self.spots = self.page.get_by_role("textbox", name="Solar reflectance")

    def scan(self, panel: str) -> None:
        self.page.goto(entry_address(self.link.address, panel))
        self.page.get_by_text(f"rack A, c{panel[1]}").wait_for()

    def settle(self, operator: str) -> None:
        who = self.page.get_by_role("combobox", name=wording.OPERATOR)
        who.fill(operator)
        who.press("Enter")
        for choice in ("as exposed", "dry"):
            self.page.get_by_role("radio", name=choice, exact=True).click()
            self.page.get_by_role("radio", name=choice, exact=True, checked=True).wait_for()
        self.page.get_by_role("combobox", name=wording.INSTRUMENT).click()
        self.page.get_by_role("option", name="SR-1, G173", exact=True).click()
        self.page.get_by_text(f"{operator}, as exposed, dry, SR-1").wait_for()

    def type(self, text: str, mean: str) -> None:
        self.spots.fill(text)
        self.page.get_by_text(f"Mean {mean}").wait_for()

    def tap(self, times: int = 1) -> None:
        self.page.get_by_role("button", name=wording.SAVE, exact=True).click(click_count=times)

    def saved(self, mean: str) -> None:
        self.page.get_by_text(f"Saved: {mean}").wait_for()

    def next(self, panel: str) -> None:
        from playwright.sync_api import TimeoutError as NotYet

        there = self.page.get_by_text(f"rack A, c{panel[1]}")
        for _ in range(4):  # the first tap after a lost link may go unheard
            self.page.get_by_role("button", name=wording.NEXT).click()
            with suppress(NotYet):
                return there.wait_for(timeout=8_000)
        return there.wait_for()

    def lose(self, seconds: float) -> None:
        """Lose the link for some time; what is on the phone then stands there still."""
        self.link.cut()
        self.page.wait_for_timeout(1000 * seconds)
        self.link.mend()
        button = self.page.get_by_role("button", name=wording.SAVE, exact=True)
        button.and_(self.page.locator(":enabled")).wait_for()

    def tap_unheard(self, store: Path, count: int, seconds: float) -> None:
        """Tap, lose the link between what the server stores and its answer, and tap again."""
        self.link.deaf = True
        self.tap()
        for _ in range(600):
            if len(stored(store)) == count:
                break
            self.page.wait_for_timeout(100)
        self.lose(seconds)
        self.tap(2)


def test_a_round_of_five_with_double_taps_a_lost_link_and_a_page_loaded_anew(
    browser, link, store, tmp_path
):
    phone = Phone(browser, link)
    phone.scan("P1")
    phone.settle("anna")
    phone.type("0,71 0.70 0.72", "0.710")
    phone.tap(2)
    phone.saved("0.710")
    assert phone.page.evaluate(SHORT) == []
    assert phone.page.locator("html").evaluate("e => e.scrollWidth - e.clientWidth") == 0
    picture = tmp_path / "saved.png"
    phone.page.screenshot(path=picture)
    assert picture.stat().st_size > 10_000

    phone.next("P2")
    phone.type("0.715", "0.715")
    phone.tap_unheard(store, 2, 8)
    phone.saved("0.715")
    phone.next("P3")
    phone.type("0.70 0.69", "0.695")
    phone.lose(3)
    assert phone.spots.input_value() == "0.70 0.69"
    phone.tap(2)
    phone.saved("0.695")

    phone.page.reload()
    phone.saved("0.695")
    phone.page.get_by_text("anna, as exposed, dry, SR-1").wait_for()
    phone.next("P4")
    phone.type("0.70", "0.700")
    phone.link.deaf = True
    phone.tap()
    phone.lose(0)
    phone.page.reload()  # whether or not the tap went through
    phone.page.get_by_text("rack A, c4").wait_for()
    if not phone.page.get_by_text("Saved: 0.700").count():
        phone.type("0.70", "0.700")
        phone.tap()
    phone.saved("0.700")
    phone.scan("P5")
    phone.type("0.71", "0.710")
    phone.tap()
    phone.saved("0.710")

    phone.scan("P2")
    phone.page.get_by_role("radio", name=wording.CORRECT).click()
    phone.page.get_by_label(wording.REASON).fill("misread")
    phone.type("0.705", "0.705")
    phone.tap(2)
    phone.saved("0.705")
    holds(store, [0.71, 0.715, 0.695, 0.70, 0.71, 0.705])


def holds(store: Path, values: list[float]) -> None:
    """Five panels and one correction, each once, in a store that is whole."""
    rows = stored(store)
    assert rows["value"].tolist() == values
    assert rows["panel"].tolist() == [*PANELS, "P2"]
    assert rows["supersedes"].dropna().tolist() == [rows["reading_id"].iloc[1]]
    with open_ledger(store) as book:
        assert book.verify().whole


@pytest.mark.slow
@pytest.mark.parametrize("seconds", [40, 150])
def test_a_long_lost_link_loses_nothing_and_doubles_nothing(browser, link, store, seconds):
    phone = Phone(browser, link)
    phone.scan("P1")
    phone.settle("anna")
    phone.type("0.71", "0.710")
    phone.tap_unheard(store, 1, seconds)
    phone.saved("0.710")
    phone.next("P2")
    phone.type("0.70 0.69", "0.695")
    phone.lose(seconds)
    phone.tap(2)
    phone.saved("0.695")
    assert stored(store)["value"].tolist() == [0.71, 0.695]
