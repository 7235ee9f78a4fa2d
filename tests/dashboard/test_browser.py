"""A person's way through the real server in a real browser, at a desk and on a phone."""

from __future__ import annotations

import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.request import urlopen

import pytest
from axe_check import findings
from walk import calm

from dashboard import ways_words, wording

PAGES = {"overview": "What is exposed", "decay": "Decay and projection", "compare": "Compare",
         "spectra": "Spectra", "appearance": "Colour and ratings",
         "scores": "How forecasts did"}  # fmt: skip
CHARTS = {"overview": 1, "decay": 3, "compare": 6, "spectra": 2, "appearance": 1, "scores": 2}
# Opened cold below a page's address, the front end first asks for its server there.
PROBE = re.compile(
    r"/(overview|decay|compare|spectra|appearance|scores)/_stcore/(health|host-config)$"
)
START = "import sys; from dashboard.launch import launch; sys.exit(launch(sys.argv[1], port={}))"


@contextmanager
def serve(source: Path, elsewhere: Path) -> Iterator[str]:
    """The real server on a source, started in another directory; its address."""
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with (elsewhere / "server.log").open("w") as log:
        command = [sys.executable, "-c", START.format(port), str(source)]
        server = subprocess.Popen(command, cwd=elsewhere, stdout=log, stderr=log)
    try:
        url = f"http://127.0.0.1:{port}"
        _wait_for(f"{url}/_stcore/health", server)
        yield url
    finally:
        server.terminate()
        assert server.wait(timeout=20) is not None


@pytest.fixture(scope="module")
def address(folder, tmp_path_factory) -> Iterator[str]:
    with serve(folder, tmp_path_factory.mktemp("elsewhere")) as url:
        yield url


def _wait_for(url: str, server: subprocess.Popen) -> None:
    for _ in range(120):
        assert server.poll() is None, "the server ended"
        try:
            with urlopen(url, timeout=2):  # noqa: S310 - the address made above
                return
        except OSError:
            time.sleep(0.25)
    pytest.fail("the server did not answer within 30 s")


class Visit:
    """One open page, with all it asked for and complained about."""

    def __init__(self, browser, width: int):
        self.page = browser.new_context(viewport={"width": width, "height": 900}).new_page()
        self.requests: list[str] = []
        self.errors: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", self._heard)

    def _heard(self, message) -> None:
        if message.type == "error" and not PROBE.search(message.location["url"]):
            self.errors.append(message.text)

    def open(self, title: str) -> None:
        """Open a page of the section of judging, as the menu has it at a desk."""
        section, link = ways_words.SECTIONS["judge"], "stTopNavDropdownLink"
        self.page.get_by_test_id("stTopNavSection").get_by_text(section).click()
        self.page.get_by_test_id(link).get_by_text(title, exact=True).click()

    def settle(self, heading: str, charts: int = 1) -> None:
        """Wait for the charts, folds opened."""
        self.page.get_by_role("heading", name=heading, level=1).wait_for(timeout=120_000)
        calm(self.page)  # a chart may be drawn only when its fold is opened
        drawn = self.page.locator("[data-testid=stVegaLiteChart] svg")
        for fold in self.page.locator("summary").filter(has_text=wording.DETAILS).all():
            fold.click()
        drawn.nth(charts - 1).wait_for()
        self.page.locator("[data-testid=stStatusWidget]").wait_for(state="detached")

    def photograph(self, path: Path) -> None:
        """Save the whole page: it scrolls inside the window, so make the window as tall."""
        tall = self.page.locator("[data-testid=stMainBlockContainer]").bounding_box()["height"]
        self.page.set_viewport_size({**self.page.viewport_size, "height": int(tall) + 100})
        self.page.wait_for_timeout(500)
        self.page.screenshot(path=path)


@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("path", PAGES)
def test_page_is_whole_quiet_and_offline(browser, address, tmp_path: Path, path, width):
    visit = Visit(browser, width)
    visit.page.goto(f"{address}/{path}")
    visit.settle(PAGES[path], CHARTS[path])
    assert width < 1280 or findings(visit.page) == []
    picture = tmp_path / f"{path}_{width}.png"
    visit.photograph(picture)

    assert (
        visit.page.locator("[data-testid=stException], [data-testid=stAlertContentError]").count()
        == 0
    )
    assert visit.errors == []
    outside = [u for u in visit.requests if not u.startswith((address, "data:", "blob:"))]
    assert outside == []
    assert len(visit.requests) > 5
    over = "e => e.scrollWidth - e.clientWidth"
    assert visit.page.locator("html").evaluate(over) == 0
    assert visit.page.locator("[data-testid=stMain]").evaluate(over) == 0
    drawn = visit.page.locator("[data-testid=stVegaLiteChart] svg").all()
    assert len(drawn) == CHARTS[path]
    assert all(svg.bounding_box()["width"] <= width for svg in drawn)
    assert picture.stat().st_size > 10_000


def test_a_bookmark_opens_what_was_chosen_and_a_choice_changes_it(browser, address):
    visit = Visit(browser, 1280)
    visit.page.goto(f"{address}/decay?site=KESTREL&formulation=S8H30&months=24")
    visit.settle(PAGES["decay"])
    assert visit.page.get_by_role("heading", name="Projected, at 24 months").count() == 1
    chart = visit.page.locator("[data-testid=stVegaLiteChart]").first
    assert "S8H30, KESTREL" in (chart.inner_html() + (chart.get_attribute("aria-label") or ""))
    box = visit.page.get_by_role("combobox", name="Formulation")
    box.click()
    visit.page.get_by_role("option", name="S0H0", exact=True).click()
    visit.page.wait_for_url("**formulation=S0H0**")
    assert "site=KESTREL" in visit.page.url

    visit.open("Compare")
    visit.settle(PAGES["compare"])
    visit.open("Decay and projection")
    visit.settle(PAGES["decay"])
    visit.page.wait_for_url("**site=KESTREL**formulation=S0H0**")
    assert visit.errors == []


def test_the_look_is_ours_from_any_directory(browser, address):
    visit = Visit(browser, 1280)
    visit.page.goto(f"{address}/overview")
    visit.settle(PAGES["overview"])
    colour = visit.page.locator("[data-testid=stApp]").evaluate(
        "e => getComputedStyle(e).backgroundColor"
    )
    assert colour == "rgb(245, 248, 248)"
    title = visit.page.get_by_role("heading", level=1)
    assert "Serif" in title.evaluate("e => getComputedStyle(e).fontFamily")
