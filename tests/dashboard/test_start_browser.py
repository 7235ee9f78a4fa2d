"""The first five minutes in a real browser: nothing set up, then a trial of one's own."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from contextlib import closing
from urllib.request import urlopen

import pytest

START = "import sys; from dashboard.launch import launch; sys.exit(launch(None, port={}))"
OVER = "e => e.scrollWidth - e.clientWidth"


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    home = tmp_path_factory.mktemp("home")
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    set_up = {name: value for name, value in os.environ.items() if name != "AGING_SOURCE"}
    with (home / "server.log").open("w") as log:
        command = [sys.executable, "-c", START.format(port)]
        server = subprocess.Popen(
            command, cwd=home, env=set_up | {"HOME": str(home)}, stdout=log, stderr=log
        )
    try:
        for _ in range(120):
            assert server.poll() is None, "the server ended"
            try:
                with urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=2):
                    break
            except OSError:
                time.sleep(0.25)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        assert server.wait(timeout=20) is not None


@pytest.mark.parametrize("width", [1280, 390])
def test_a_person_with_nothing_comes_to_the_first_visit(browser, address, width):
    page = browser.new_context(viewport={"width": width, "height": 900}).new_page()
    page.set_default_timeout(120_000)
    errors = []
    page.on("pageerror", lambda error: errors.append(str(error)))

    def whole():
        page.locator("[data-testid=stStatusWidget]").wait_for(state="detached")
        assert page.locator("html").evaluate(OVER) == 0
        assert page.locator("[data-testid=stMain]").evaluate(OVER) == 0
        assert page.locator("[data-testid=stException]").count() == 0

    page.goto(f"{address}/start")
    page.get_by_text("Three ways to begin").wait_for()
    whole()
    page.get_by_role("button", name="Start a trial").click()
    name = page.get_by_label("Your name, for the record")
    name.fill("Ada")
    name.press("Tab")
    whole()
    page.get_by_role("button", name="Make the trial").click()
    page.get_by_text("The trial is made and open.").wait_for()
    whole()
    with page.expect_download() as saved:
        page.get_by_role("button", name="Labels to print").click()
    assert saved.value.path().read_bytes().startswith(b"%PDF")
    page.get_by_role("link", name="Log first readings").click()
    page.get_by_text(": none read, 8 to read.").wait_for()
    whole()
    assert errors == []
