"""Starts the dashboard's server on this machine."""

from __future__ import annotations

import os
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

from aging.errors import CallError

SETTINGS = {  # what .streamlit/config.toml says, for a start from any directory
    "browser.gatherUsageStats": "false",
    "client.showErrorDetails": "none",
    "client.toolbarMode": "minimal",
    "server.address": "127.0.0.1",
    "server.fileWatcherType": "none",
    "server.headless": "true",
    "server.maxUploadSize": "25",
}


def serve(source: str, port: int) -> int:
    """Run the dashboard on `source` until it is ended; returns its exit code."""
    if "://" not in source and not Path(source).exists():
        raise CallError(f"{source!r}: no such folder, workbook or store")
    spec = find_spec("dashboard")
    if spec is None or spec.origin is None:
        raise CallError("the dashboard is not installed; install the whole package")
    options = [f"--{name}={value}" for name, value in SETTINGS.items()]
    command = [
        sys.executable, "-m", "streamlit", "run", str(Path(spec.origin).with_name("app.py")),
        f"--server.port={port}", *options,
    ]  # fmt: skip
    sys.stderr.write(f"The dashboard opens at http://127.0.0.1:{port} (Ctrl+C ends it)\n")
    return subprocess.run(  # noqa: S603  # our own interpreter, no shell
        command, env=os.environ | {"AGING_SOURCE": source}, check=False
    ).returncode
