"""A visit on a phone in a real browser: double taps, lost links, pages loaded anew."""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
import threading
import time
from contextlib import closing, suppress
from pathlib import Path
from urllib.request import urlopen

import pytest
from rack_example import PANELS, fill, stored
from walk import calm

from aging.fieldwork.labels import entry_address
from aging.ledger import open_ledger
from dashboard import log_words as wording

START = "import sys; from dashboard.launch import launch; sys.exit(launch(sys.argv[1], port={}))"
SHORT = """() => [...document.querySelectorAll('[data-testid=stMain] :is(button, input, summary)')]
  .map((one) => [one, one.getBoundingClientRect()])
  .filter(([, box]) => box.width && (box.width < 44 || box.height < 44 || box.right > innerWidth))
  .map(([one]) => one.outerHTML)"""


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> Path:
    return fill(tmp_path_factory.mktemp("rack"))


@pytest.fixture
def store(filled, tmp_path) -> Path:
    return Path(shutil.copy(filled, tmp_path / "trial.sqlite"))


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
        self.page.get_by_role("combobox", name=wording.OPERATOR).wait_for(state="hidden")
        calm(self.page)  # the choices fold away, and all below moves up

    def type(self, text: str, mean: str) -> None:
        calm(self.page)  # the panel's own field has come
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


def test_a_page_is_whole_again_whenever_in_its_making_the_link_was_lost(browser, link):
    phone = Phone(browser, link)
    phone.scan("P1")
    phone.settle("anna")
    for wait in (0, 15, 30, 60, 120):
        phone.type("0.70", "0.700")
        phone.link.deaf = True
        phone.tap()
        phone.page.wait_for_timeout(wait)
        phone.lose(0)
        calm(phone.page)
        phone.page.get_by_text(wording.CAUTIONS, exact=True).wait_for()
        assert phone.page.get_by_role("textbox", name="Solar reflectance").count() == 1
        panel = phone.page.url.partition("panel=")[2][:2]
        phone.scan(f"P{int(panel[1]) + 1}" if panel != "P5" else "P1")


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
