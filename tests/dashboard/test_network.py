"""Who can reach the page: this machine, until a store knows who comes."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from contextlib import closing
from urllib.request import urlopen

import numpy as np
import pytest
import zxingcpp
from rack_example import fill

from aging import access
from aging.errors import AccessError, CallError
from aging.ledger import open_ledger
from dashboard import entry, network

CODE = "nine panels in the sun"


@pytest.fixture
def store(tmp_path):
    return fill(tmp_path)


@pytest.fixture(autouse=True)
def without_provider(monkeypatch):
    monkeypatch.setattr(entry, "provider", lambda: False)


def name(store, **more):
    with open_ledger(store) as book:
        access.add(book, "kai", ["keeper"], who=None, **more)


@pytest.mark.parametrize("address", ["0.0.0.0", "192.168.4.20", "::"])  # noqa: S104
def test_a_network_is_refused_until_people_can_prove_who_they_are(store, folder, address):
    for source, why in ((None, "no source knows no people"), (str(folder), "load it into a store"),
                        (str(store), "knows no people; name its people first: aging people"),
                        ("missing.sqlite", "no such file")):  # fmt: skip
        with pytest.raises(Exception, match=why):
            network.require_people(source, address)
    name(store, sign_in="kai@lab.example")
    with pytest.raises(AccessError, match="--passcode; or name an identity provider"):
        network.require_people(str(store), address)


def test_passcodes_or_a_provider_open_the_network(store, monkeypatch):
    name(store, sign_in="kai@lab.example")
    monkeypatch.setattr(entry, "provider", lambda: True)
    network.require_people(str(store), network.EVERY)
    monkeypatch.setattr(entry, "provider", lambda: False)
    with open_ledger(store) as book:
        access.change(book, "kai", who="kai", passcode=CODE)
    network.require_people(str(store), network.EVERY)


@pytest.mark.parametrize("address", ["127.0.0.1", "127.1.2.3", "::1", "localhost"])
def test_this_machine_needs_no_people(folder, address):
    network.require_people(str(folder), address)


@pytest.mark.parametrize("address", ["", "everywhere", "1.2.3", "10.0.0.0/8", "evil.example"])
def test_what_is_no_address_is_refused(folder, address):
    with pytest.raises(CallError, match="--address"):
        network.require_people(str(folder), address)


def drawn(text):
    """The picture of a code that a terminal shows in half blocks."""
    lines = [line for line in text.splitlines() if set(line) <= set(" ▀▄█") and line.strip()]
    light = [[(char in half) for char in line] for line in lines for half in ("▀█", "▄█")]
    cells = np.array(light)
    return np.kron(np.where(cells, 255, 0), np.ones((6, 6))).astype(np.uint8)


def read(picture):
    return [one.text for one in (*zxingcpp.read_barcodes(picture),
                                 *zxingcpp.read_barcodes(255 - picture))]  # fmt: skip


def test_one_command_prints_address_and_code_and_listens(store, tmp_path):
    name(store, passcode=CODE)
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [
        sys.executable,
        "-m",
        "aging",
        "dashboard",
        str(store),
        "--phone",
        "--port",
        str(port),
    ]
    said = tmp_path / "said.txt"
    with said.open("w") as out, subprocess.Popen(
        command, cwd=tmp_path, stdout=out, stderr=out, env=os.environ | {"COLUMNS": "200"}
    ) as server:  # fmt: skip
        try:
            url = f"http://{network.own_address()}:{port}"
            for _ in range(240):
                assert server.poll() is None, said.read_text()
                try:
                    with urlopen(f"{url}/_stcore/health", timeout=2) as answer:  # noqa: S310
                        assert answer.read() == b"ok"
                        break
                except OSError:
                    time.sleep(0.25)
            else:
                pytest.fail("it did not answer within a minute")
        finally:
            server.terminate()
    told = said.read_text()
    assert url in told
    assert "passcode" in told
    assert "External" not in told
    assert set(read(drawn(told))) == {url}
