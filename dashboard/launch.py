"""Start the dashboard's server, from any directory and from an installed wheel.

Look and server settings come from `.streamlit/config.toml` beside the entry script.
"""

from __future__ import annotations

import logging
import os
import time
from contextlib import suppress
from pathlib import Path
from threading import Thread

import typer

APP = Path(__file__).with_name("app.py")
SERVED = Path(__file__).with_name("served.py")
SOURCE = "AGING_SOURCE"
HOSTS = ("localhost", "127.0.0.1", "::1")


def launch(source: str | None, *, port: int = 8501, address: str = "127.0.0.1") -> int:
    """Serve the dashboard on `source` until it is stopped; the exit code.

    source: an exposure folder, a workbook, a store file or a store URL; None leaves what the
    environment names, or the page that says what to do. address: where to listen; AccessError for
    one that a network reaches where the source does not ask who is there.
    """
    from altair.utils import schemapi
    from streamlit import net_util
    from streamlit.web import cli

    from dashboard import network

    network.require_people(source or os.environ.get(SOURCE), address)
    if source is not None:
        os.environ[SOURCE] = source if "://" in source else str(Path(source).resolve())
    options = [f"--server.port={port}", f"--server.address={address}"]
    if network.is_local(address):  # another site's page must not reach it under a name of its own
        options += [f"--server.allowedHosts={host}" for host in HOSTS]
    else:
        shown = network.own_address() if address == network.EVERY else address
        options += [f"--browser.serverAddress={shown}", "--logger.hideWelcomeMessage=true"]
        typer.echo(network.invitation(f"http://{shown}:{port}"))
    net_util._external_ip = HOSTS[0]  # noqa: SLF001 - it would ask a server outside for it
    schemapi.disable_debug_mode()  # each part of a chart would check its form; tests have
    if named := os.environ.get(SOURCE):
        Thread(target=_read_ahead, args=(named,), daemon=True).start()
    try:
        cli.main(["run", str(SERVED), *options], standalone_mode=False)
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else 1
    return 0


def _read_ahead(source: str) -> None:
    """Read what the first page needs while its browser still loads."""
    from streamlit import runtime

    from dashboard import data, parts  # noqa: F401 - loaded for the first page

    while not runtime.exists():
        time.sleep(0.05)
    for name in ("runtime.scriptrunner_utils.script_run_context", "runtime.caching"):
        logging.getLogger(f"streamlit.{name}").setLevel(logging.ERROR)  # no page, no spinner
    with suppress(Exception):  # the page says why
        data.readings(data.opened(source))
