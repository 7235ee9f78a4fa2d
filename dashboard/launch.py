"""Start the dashboard's server, from any directory and from an installed wheel.

Look and server settings come from `.streamlit/config.toml` beside the entry script.
"""

from __future__ import annotations

import os
from pathlib import Path

APP = Path(__file__).with_name("app.py")
SOURCE = "AGING_SOURCE"


def launch(source: str | None, *, port: int = 8501, address: str = "127.0.0.1") -> int:
    """Serve the dashboard on `source` until it is stopped; the exit code.

    source: an exposure folder, a workbook, a store file or a store URL; None leaves what the
    environment names, or the page that says what to do.
    """
    from streamlit.web import cli

    if source is not None:
        os.environ[SOURCE] = source if "://" in source else str(Path(source).resolve())
    options = [f"--server.port={port}", f"--server.address={address}"]
    try:
        cli.main(["run", str(APP), *options], standalone_mode=False)
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else 1
    return 0
