"""A person's walk through the real server in a real browser; every step is held to what all keep.

A step: no error, nothing asked of another machine, no page that scrolls sideways, a picture of it.
"""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from urllib.request import urlopen

import pytest

from dashboard.launch import SOURCE

# Opened cold below a page's address, the front end first asks for its server there.
PROBE = re.compile(r"/[a-z_]+/_stcore/(health|host-config)$")
LAUNCH = """import sys; from dashboard.launch import launch
sys.exit(launch(sys.argv[1] or None, port={}))"""
FAULTS = "[data-testid=stException], [data-testid=stAlertContentError]"
# A tap asks for a run in its own frame; calm is a row of frames in which nothing is drawn.
CALM = """limit => new Promise(done => {
  const start = performance.now();
  let calm = 0, tall = -1;
  const look = () => {
    const app = document.querySelector('[data-testid=stApp]');
    const main = document.querySelector('[data-testid=stMainBlockContainer]');
    const now = main ? main.scrollHeight : -1;
    const idle = app && app.dataset.testScriptState === 'notRunning'
      && app.dataset.testConnectionState === 'CONNECTED' && now === tall
      && !document.querySelector('[data-testid=stSpinner], [data-testid=stSkeleton]');
    calm = idle ? calm + 1 : 0;
    tall = now;
    if (calm >= 20 || performance.now() - start > limit) done(calm >= 20);
    else requestAnimationFrame(look);
  };
  look();
})"""
PATIENCE_MS = 240_000
PHONE = 768  # narrower than this, the navigation is folded away
AGENT = "Mozilla/5.0 (Linux; Android 14) AppleWebKit/537.36 Chrome/126.0 Mobile Safari/537.36"
OVER = "e => e.scrollWidth - e.clientWidth"


@contextmanager
def serving(source: str | Path = "", *, cwd: Path) -> Iterator[str]:
    """The address of a dashboard on a source, or on none, for a person whose home is `cwd`."""
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with (cwd / "server.log").open("w") as log:
        command = [sys.executable, "-c", LAUNCH.format(port), str(source)]
        own = {name: value for name, value in os.environ.items() if name != SOURCE}
        server = subprocess.Popen(
            command, cwd=cwd, env=own | {"HOME": str(cwd)}, stdout=log, stderr=log
        )
    try:
        url = f"http://127.0.0.1:{port}"
        for _ in range(240):
            assert server.poll() is None, "the server ended"
            try:
                with urlopen(f"{url}/_stcore/health", timeout=2):  # noqa: S310 - made above
                    break
            except OSError:
                time.sleep(0.25)
        else:
            pytest.fail("the server did not answer within 60 s")
        yield url
    finally:
        server.terminate()
        assert server.wait(timeout=20) is not None


def typed(*words: str | Path, cwd: Path, code: int = 0) -> str:
    """What a command says that a person types; its exit code is `code`."""
    command = [sys.executable, "-m", "aging", *map(str, words)]
    done = subprocess.run(command, cwd=cwd, capture_output=True, text=True, check=False)
    assert done.returncode == code, done.stdout + done.stderr
    return done.stdout + done.stderr


def calm(page) -> None:
    """Wait until the server has nothing more to say and the page no longer moves."""
    assert page.evaluate(CALM, PATIENCE_MS), "the page did not come to rest"


class Walk:
    """One open page, all it asked for and complained about, and pictures of its steps."""

    def __init__(self, browser, address: str, width: int, pictures: Path):
        phone = {"is_mobile": True, "has_touch": True, "user_agent": AGENT} if width < PHONE else {}
        self.page = browser.new_context(
            viewport={"width": width, "height": 900}, **phone
        ).new_page()
        self.page.set_default_timeout(60_000)
        self.address, self.width, self.pictures = address, width, pictures
        self.steps, self.errors, self.outside = 0, [], []
        self.page.on("request", self._asked)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", self._heard)

    def _asked(self, request) -> None:
        if not request.url.startswith((self.address, "data:", "blob:")):
            self.outside.append(request.url)

    def _heard(self, message) -> None:
        if message.type == "error" and not PROBE.search(message.location["url"]):
            self.errors.append(message.text)

    def open(self) -> None:
        """Open the address that the command printed."""
        self.page.goto(self.address)

    def menu(self, section: str, title: str) -> None:
        """Go to a page by the navigation."""
        if self.width < PHONE:
            self.page.get_by_test_id("stExpandSidebarButton").click()
            self.page.get_by_test_id("stSidebarNavLink").get_by_text(title, exact=True).click()
        else:
            self.page.get_by_test_id("stTopNavSection").get_by_text(section).click()
            self.page.get_by_test_id("stTopNavDropdownLink").get_by_text(title, exact=True).click()
        self.at(title)

    def go(self, link: str, title: str) -> None:
        """Follow a link on the page."""
        self.page.get_by_test_id("stMain").get_by_role("link", name=link, exact=True).first.click()
        self.at(title)

    def at(self, title: str) -> None:
        """Wait until a page is whole."""
        self.page.get_by_role("heading", name=title, level=1).wait_for()
        self.still()

    def still(self) -> None:
        """Wait until the server has nothing more to say."""
        calm(self.page)

    def press(self, button: str) -> None:
        """Press a button on the page."""
        self.page.get_by_role("button", name=button, exact=True).click()
        self.still()

    def fill(self, label: str, text: str) -> None:
        """Type into a field and leave it."""
        field = self.page.get_by_label(label, exact=True)
        field.fill(text)
        field.press("Tab")
        self.still()

    def pick(self, label: str, option: str) -> None:
        """Choose from a box."""
        from playwright.sync_api import TimeoutError as NotYet

        wanted = self.page.get_by_role("option", name=option, exact=True)
        for patience in (5_000, 5_000, 60_000):  # a chart drawn late moves the page and shuts a box
            self.page.get_by_role("combobox", name=label, exact=True).click()
            with suppress(NotYet):
                wanted.click(timeout=patience)
                break
        self.still()

    def save(self, button: str, to: Path) -> Path:
        """Save a file that the page offers."""
        with self.page.expect_download() as waiting:
            self.page.get_by_role("button", name=button, exact=True).click()
        place = to / waiting.value.suggested_filename
        waiting.value.save_as(place)
        return place

    def figures(self) -> dict[str, str]:
        """The big figures of the page."""
        texts = [one.inner_text().split("\n") for one in self.page.get_by_test_id("stMetric").all()]
        return {lines[0]: lines[-1] for lines in texts}

    def text(self) -> str:
        """All that the page says outside charts and tables."""
        return self.page.get_by_test_id("stMain").inner_text()

    def step(self, name: str) -> None:
        """What holds at every step."""
        self.still()
        self.steps += 1
        size, main = self.page.viewport_size, self.page.get_by_test_id("stMainBlockContainer")
        tall = int(main.bounding_box()["height"]) + 100
        self.page.set_viewport_size({**size, "height": max(tall, size["height"])})
        self.still()
        self.page.screenshot(path=self.pictures / f"{self.steps:02}_{name}_{self.width}.png")
        over = [self.page.locator(one).evaluate(OVER) for one in ("html", "[data-testid=stMain]")]
        self.page.set_viewport_size(size)
        self.still()
        faults = self.page.locator(FAULTS).all_inner_texts()
        assert (self.errors, self.outside, over, faults) == ([], [], [0, 0], []), (
            f"{name}: {self.errors} {self.outside} {over} {faults}"
        )
