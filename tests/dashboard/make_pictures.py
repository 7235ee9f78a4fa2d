"""Pictures of the real screens for the README: `python tests/dashboard/make_pictures.py`.

A store is made of the invented sample, two claims are made on it, and its pages are photographed
into dashboard/pictures/. Needs the development extras and a Chromium.
"""

from __future__ import annotations

import io
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]
PLACE = ROOT / "dashboard" / "pictures"
WIDE, PHONE = (1100, 720), (390, 720)
SHOTS = {
    "leading": ("leading", WIDE, 0),
    "decay": ("decay?formulation=S8H30", WIDE, 505),
    "claim": ("claim?claim={claim}", WIDE, 0),
    "log": ("log?panel=AMARO-S8H30-1", PHONE, 0),
}  # page, size, how far down
COLOURS = 64
CHART = "[data-testid=stVegaLiteChart] svg"
BUSY = "[data-testid=stSpinner], [data-testid=stStatusWidget]"
AGING = (sys.executable, "-m", "aging")


def store(place: Path) -> tuple[str, str]:
    """A store with the sample and two claims; its path and the second claim's id."""
    path = str(place / "exposure.sqlite")
    run(*AGING, "load", "sample_exposure", "--store", path)
    for formulation in ("PS8H30", "S8H15"):
        told = run(*AGING, "claim", path, formulation, "--make", "--by", "M. Alder")
    return path, told.split("claim ")[-1].split()[0]


def run(*command: str) -> str:
    """What a command writes."""
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout


@contextmanager
def served(source: str) -> Iterator[str]:
    """A dashboard on a source, and its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [*AGING, "dashboard", source, "--port", str(port)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL) as server:
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


def shoot(address: str, claim: str) -> Iterator[Path]:
    """Write a picture of each of SHOTS, with few colours so that it stays small."""
    from PIL import Image
    from playwright.sync_api import sync_playwright

    PLACE.mkdir(exist_ok=True)
    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox"]
        )
        for name, (path, (width, height), down) in SHOTS.items():
            page = browser.new_page(viewport={"width": width, "height": height})
            page.goto(f"{address}/{path.format(claim=claim)}")
            page.locator("h1").wait_for(timeout=60_000)
            if (width, height) == WIDE:
                page.locator(CHART).first.wait_for(timeout=120_000)
            page.locator(BUSY).first.wait_for(state="detached", timeout=120_000)
            page.locator("[data-testid=stMain]").evaluate("(at, y) => at.scrollTo(0, y)", down)
            page.wait_for_timeout(2500)
            with Image.open(io.BytesIO(page.screenshot())) as seen:
                file = PLACE / f"{name}.png"
                seen.convert("RGB").quantize(COLOURS).save(file, optimize=True)
            yield file
            page.close()
        browser.close()


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        source, claim = store(Path(made))
        with served(source) as address:
            for file in shoot(address, claim):
                sys.stdout.write(f"{file.relative_to(ROOT)}, {file.stat().st_size:,} bytes\n")
