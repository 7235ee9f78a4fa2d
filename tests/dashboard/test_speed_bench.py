"""The dashboard on large ledgers in a real browser: seconds a person waits (pytest -m bench).

The same run tells what they are without the shelf (AGING_CACHE=off). On a quiet machine. Many
people at once are sessions that speak to the server as a browser does and draw nothing: from the
change to the end of the page's run. Each thinks THINK seconds between two changes. Twenty browsers
on the server's own processors would time each other.
"""

from __future__ import annotations

import asyncio
import os
import random
import socket
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path
from statistics import median, quantiles
from urllib.parse import parse_qs, urlsplit
from urllib.request import urlopen

import pytest
from big_ledger import fill
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from tornado.websocket import websocket_connect

from aging.ledger import open_ledger
from dashboard import log_words, wording

pytestmark = pytest.mark.bench
START = "import sys; from dashboard.launch import launch; sys.exit(launch(sys.argv[1], port={}))"
CHART, BUSY = "[data-testid=stVegaLiteChart] :is(svg, canvas)", "[data-testid=stStatusWidget]"
TEXT = "[data-testid=stText]"
OF = '[data-testid=stVegaLiteChart]:has([aria-label*="{name}"])'  # a chart of a formulation
PATIENCE = 240_000  # milliseconds, a fit of the large ledger
PEOPLE, CHANGES, THINK = 20, 5, (2.0, 8.0)  # seconds between two changes of a person
ARRIVE = 2.0  # seconds between two people who open the page
LEDGERS = {
    "100k": ((6, 20, 4), {"cold": 2.5, "selection": 0.5, "save": 0.4}),
    "1M": ((15, 30, 11), {"cold": 4.0, "selection": 1.0, "save": 0.5}),
}


@pytest.fixture(scope="module", params=LEDGERS)
def ledger(request, tmp_path_factory):
    """Name, store and limits of a ledger."""
    store = tmp_path_factory.mktemp(request.param) / "large.sqlite"
    size, limits = LEDGERS[request.param]
    return f"{request.param} ({fill(store, *size)} readings)", store, limits


@contextmanager
def served(store: Path, shelf: str):
    """A server of its own; its address and a call that tells its peak and private bytes."""
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"http://127.0.0.1:{port}"
    with pytest.MonkeyPatch.context() as patch, (store.parent / "log").open("w") as log:
        patch.setenv("AGING_CACHE", shelf)
        command = [sys.executable, "-c", START.format(port), str(store)]
        server = subprocess.Popen(command, cwd=store.parent, stdout=log, stderr=log)
    try:
        while True:
            try:
                urlopen(f"{address}/_stcore/health", timeout=2).close()  # noqa: S310 - the address made above
                break
            except OSError:
                time.sleep(0.1)
        yield address, lambda: memory(server.pid)
    finally:
        server.terminate()
        server.wait(timeout=20)


def memory(pid: int) -> str:
    """Memory of a server, and its processor's time so far: what a busy machine does not alter."""
    stat = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    busy = sum(map(int, stat[11:13])) / os.sysconf("SC_CLK_TCK")
    lines = dict(line.split(":") for line in Path(f"/proc/{pid}/status").read_text().splitlines())
    peak, own, mapped = (int(lines[n].split()[0]) / 1e6 for n in ("VmHWM", "RssAnon", "RssFile"))
    now = f"now {own:.2f} GB of its own, {mapped:.2f} GB of files"
    return f"server peak {peak:.2f} GB; {now}; processor {busy:.1f} s"


def opened(browser, address: str, width: int = 1280):
    page = browser.new_context(viewport={"width": width, "height": 900}).new_page()
    page.set_default_timeout(PATIENCE)
    page.goto(address)
    return page


def seen(page, selector: str, text: str = "") -> None:
    """Wait for what is drawn, at each frame: a locator looks every half second in the end."""
    page.wait_for_function(
        """([selector, text]) => [...document.querySelectorAll(selector)].some(
            (one) => one.textContent.includes(text) && one.getBoundingClientRect().height > 0)""",
        arg=[selector, text], polling="raf",
    )  # fmt: skip


def first_chart(browser, address: str, view: str) -> float:
    """Seconds from the address to the first chart."""
    began = time.perf_counter()
    page = opened(browser, f"{address}/{view}")
    seen(page, CHART)
    seconds = time.perf_counter() - began
    page.locator(BUSY).wait_for(state="detached")
    page.context.close()
    return seconds


def selections(browser, address: str, names: list[str]) -> list[float]:
    """Seconds from the choice of another formulation to its headline and chart."""
    page = opened(browser, f"{address}/decay")
    page.locator(CHART).first.wait_for()
    page.locator(BUSY).wait_for(state="detached")
    taken = []
    for name in names:
        box = page.get_by_role("combobox", name=wording.FORMULATION)
        box.click()
        box.fill(name)
        page.get_by_role("option", name=name, exact=True).wait_for()
        began = time.perf_counter()
        page.keyboard.press("Enter")
        seen(page, TEXT, f"{name}, ")
        seen(page, OF.format(name=name))
        taken.append(time.perf_counter() - began)
        page.locator(BUSY).wait_for(state="detached")
    page.context.close()
    return taken


def coats_of(store: Path) -> list[str]:
    """Formulations, those of a trial not side by side."""
    with open_ledger(store) as book:
        names = book.read(only=("formulations",)).formulations["formulation"]
    return sorted(names, key=lambda name: name[::-1])


def last_read(store: Path) -> dict[str, float]:
    """Reflectance of each panel when it was last read: what asks for no second look."""
    with open_ledger(store) as book:
        read = book.read(only=("readings",)).readings
    read = read[(read["property"] == "solar_reflectance") & (read["surface_state"] == "as_exposed")]
    return read.sort_values("read_on").groupby("panel")["value"].last().to_dict()


def saves(browser, address: str, known: dict[str, float]) -> list[float]:
    """Seconds from the tap on Save to the word that it is saved."""
    page = opened(browser, f"{address}/log?site=SITE1", 390)
    who = page.get_by_role("combobox", name=log_words.OPERATOR)
    who.fill("bench")
    who.press("Enter")
    for choice in ("as exposed", "dry"):
        page.get_by_role("radio", name=choice, exact=True).click()
        page.get_by_role("radio", name=choice, exact=True, checked=True).wait_for()
    gear = page.get_by_role("combobox", name=f"{log_words.INSTRUMENT}Solar reflectance")
    gear.fill("SR-11")
    gear.press("Enter")
    page.get_by_text("bench, as exposed, dry, SR-11").wait_for()
    taken = []
    for _ in range(7):
        (panel,) = parse_qs(urlsplit(page.url).query)["panel"]
        mean = f"{known[panel]:.3f}"
        page.get_by_role("textbox", name="Solar reflectance").fill(mean)
        page.get_by_text(f"Mean {mean}").wait_for()
        began = time.perf_counter()
        page.get_by_role("button", name=log_words.SAVE, exact=True).first.click()
        seen(page, TEXT, "Saved: ")
        taken.append(time.perf_counter() - began)
        page.locator(BUSY).wait_for(state="detached")
        page.get_by_role("button", name=log_words.NEXT).click()
        page.get_by_text("Saved: ").first.wait_for(state="detached")
    page.context.close()
    return taken


async def answered(link, choice: dict[str, str]) -> tuple[dict[str, str], str]:
    """Ids of the select boxes by label, and the charts' text, of one run of the page."""
    asked, boxes, charts = BackMsg(), {}, ""
    asked.rerun_script.page_name = "decay"
    for box, value in choice.items():
        asked.rerun_script.widget_states.widgets.add(id=box, string_value=value)
    await link.write_message(asked.SerializeToString(), binary=True)
    while True:
        told = ForwardMsg.FromString(await link.read_message())
        if told.WhichOneof("type") == "script_finished":
            return boxes, charts
        element = told.delta.new_element
        boxes |= {element.selectbox.label: element.selectbox.id}
        charts += element.vega_lite_chart.spec


def at_once(address: str, names: list[str]) -> list[float]:
    """Seconds of each change of a selection, by the sessions of PEOPLE at once."""

    async def person(number: int) -> list[float]:
        luck, taken = random.Random(number), []  # noqa: S311 - pauses
        await asyncio.sleep(number * ARRIVE)
        link = await websocket_connect(
            f"ws{address.removeprefix('http')}/_stcore/stream", subprotocols=["streamlit"]
        )
        boxes, _ = await answered(link, {})
        for _ in range(CHANGES):
            await asyncio.sleep(luck.uniform(*THINK))
            name = luck.choice(names)
            began = time.perf_counter()
            boxes, charts = await answered(link, {boxes[wording.FORMULATION]: name})
            taken.append(time.perf_counter() - began)
            assert name in charts
        link.close()
        return taken

    async def everybody() -> list[float]:
        found = await asyncio.gather(*(person(number) for number in range(PEOPLE)))
        return [seconds for each in found for seconds in each]

    with ThreadPoolExecutor(1) as apart:  # the browser's loop runs in this thread
        return apart.submit(lambda: asyncio.run(everybody())).result()


def told(seconds: list[float]) -> str:
    return f"median {median(seconds):.2f} s (largest {max(seconds):.2f})"


def test_people_wait_little_after_a_restart(ledger, browser, tmp_path, capsys):
    name, store, limits = ledger
    shelf = str(tmp_path / "shelf")

    def say(text: str) -> None:
        with capsys.disabled():
            print(text, flush=True)

    with served(store, "off") as (address, _):
        say(f"\n{name}\nwithout the shelf {first_chart(browser, address, 'overview'):.2f} s")
    with served(store, shelf) as (address, _):
        first_chart(browser, address, "overview")
        say(f"decay: fitted {first_chart(browser, address, 'decay'):.1f} s")
    cold = []
    for _ in range(3):
        with served(store, shelf) as (address, _):
            cold.append(first_chart(browser, address, "overview"))
    say(f"cold {told(cold)}")
    with served(store, shelf) as (address, used):
        say(f"decay: after a restart {first_chart(browser, address, 'decay'):.1f} s\n{used()}")
        chosen = selections(browser, address, coats_of(store)[2:9])
        say(f"selection {told(chosen)}\n{used()}")
        saved = saves(browser, address, last_read(store))
        say(f"save {told(saved)}\n{used()}")
    assert median(cold) < limits["cold"]
    assert median(chosen) < limits["selection"]
    assert median(saved) < limits["save"]


def test_twenty_people_at_once(ledger, browser, tmp_path, capsys):
    if "100k" not in ledger[0]:
        pytest.skip("asked for 100,000 readings")
    names = coats_of(ledger[1])
    with served(ledger[1], str(tmp_path / "shelf")) as (address, used):
        first_chart(browser, address, "decay")  # fitted
        seconds = at_once(address, names)
        seen = used()
    late = quantiles(seconds, n=20)[-1]
    with capsys.disabled():
        print(f"\n{PEOPLE} people: {told(seconds)}, 95th percentile {late:.2f} s\n{seen}")
    assert late < 2.0
