"""Pictures of the real screens for the README: `python tests/dashboard/make_pictures.py STORE`.

Needs the development extras and a Chromium. The pictures go to dashboard/pictures/.
"""

from __future__ import annotations

import io
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

PLACE = Path(__file__).parents[2] / "dashboard" / "pictures"
WIDE, PHONE = (1280, 800), (390, 800)
SHOTS: dict[str, tuple[str, tuple[int, int]]] = {
    "compare": ("compare?worthwhile=0.02", WIDE),
    "decay": ("decay", WIDE),
    "claims": ("claims", WIDE),
    "log": ("log", PHONE),
}
COLOURS = 128


@contextmanager
def served(source: str) -> Iterator[str]:
    """A dashboard on a source, and its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "aging", "dashboard", source, "--port", str(port)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as server:
        try:
            address = f"http://127.0.0.1:{port}"
            _await(f"{address}/_stcore/health")
            yield address
        finally:
            server.terminate()


def _await(address: str) -> None:
    for _ in range(120):
        time.sleep(0.25)
        try:
            with urllib.request.urlopen(address, timeout=5):  # noqa: S310 - our own server
                return
        except OSError:
            continue
    raise TimeoutError(address)


def shoot(address: str, place: Path = PLACE) -> list[Path]:
    """Write a picture of each of SHOTS, with few colours so that it stays small."""
    from PIL import Image
    from playwright.sync_api import sync_playwright

    place.mkdir(exist_ok=True)
    browser_path = os.environ.get("CHROMIUM") or shutil.which("chromium")
    made = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=browser_path, args=["--no-sandbox"])
        for name, (page_path, (width, height)) in SHOTS.items():
            page = browser.new_page(viewport={"width": width, "height": height})
            page.goto(f"{address}/{page_path}")
            page.wait_for_selector("h1")
            page.wait_for_selector(
                "[data-testid=stStatusWidget]", state="detached", timeout=120_000
            )
            page.wait_for_timeout(1500)
            seen = Image.open(io.BytesIO(page.screenshot()))
            file = place / f"{name}.png"
            seen.convert("RGB").quantize(COLOURS).save(file, optimize=True)
            made.append(file)
            page.close()
        browser.close()
    return made


if __name__ == "__main__":
    with served(sys.argv[1]) as address:
        for file in shoot(address):
            sys.stdout.write(f"{file}\n")
