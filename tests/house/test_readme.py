"""The README says what is: its commands run, its tables match the registry and the sheets."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from house import ROOT, blocks, kept_files, table_rows
from typer.main import get_command

from aging.cli.commands import commands
from aging.records import SHEETS

SET_UP = re.compile(
    r"python3 -m venv \.venv && \.venv/bin/pip install -q (?:\.|-e '\.\[dev\]') && "
)


@pytest.fixture
def copy(tmp_path):
    """A copy of the project whose .venv is the environment that runs this test."""
    for file in kept_files():
        (tmp_path / file).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / file, tmp_path / file)
    (tmp_path / ".venv").symlink_to(sys.prefix)
    return tmp_path


def environment(folder: Path) -> dict[str, str]:
    """PATH with the environment's commands; pytest only collects, lest a test run itself."""
    path = f"{folder / '.venv/bin'}{os.pathsep}{os.environ['PATH']}"
    return os.environ | {"PATH": path, "PYTEST_ADDOPTS": "--collect-only -q -p no:cacheprovider"}


def check_dashboard(line: str, folder: Path) -> None:
    """Start the server, see it answer, end it."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with subprocess.Popen(
        ["sh", "-c", f"exec {line} --port {port}"], cwd=folder, env=environment(folder),
        start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    ) as server:  # fmt: skip
        try:
            for _ in range(120):
                time.sleep(0.25)
                assert server.poll() is None, "the dashboard ended by itself"
                try:
                    url = f"http://127.0.0.1:{port}/_stcore/health"
                    with urllib.request.urlopen(url, timeout=5) as answer:
                        assert answer.read() == b"ok"
                        return
                except OSError:
                    continue
            pytest.fail("the dashboard did not answer within 30 s")
        finally:
            os.killpg(server.pid, signal.SIGTERM)


def test_every_shell_block_runs(copy):
    lines = [line for block in blocks("README.md", "sh") for line in block.splitlines()]
    assert sum(bool(SET_UP.match(line)) for line in lines) == 2
    for line in lines:
        if line.startswith("aging dashboard"):
            check_dashboard(line, copy)
            continue
        done = subprocess.run(
            ["sh", "-c", SET_UP.sub("", line)],
            cwd=copy, env=environment(copy), capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, f"{line}\n{done.stdout[-2000:]}\n{done.stderr[-2000:]}"
        assert done.stdout, line


def test_every_python_block_runs():
    for block in blocks("README.md", "python"):
        done = subprocess.run(
            [sys.executable, "-W", "error", "-c", block],
            cwd=ROOT, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        assert "estimate" in done.stdout


def test_ci_runs_the_readmes_own_lines():
    script = (ROOT / ".ci/run").read_text(encoding="utf-8")
    readme = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    patterns = re.findall(r"grep -m1 -F \"(.+?)\" README.md", script)
    ends = [
        next(line for line in readme if pattern in line).split("&&")[-1] for pattern in patterns
    ]
    assert ends == [" .venv/bin/aging project sample_exposure", " .venv/bin/pytest"]
    assert all(f'\neval "${name}"\n' in script for name in ("main", "line"))


def test_every_command_and_option_is_told():
    told = {
        row[0].split()[1]: row for row in table_rows("README.md")["command what it does options"]
    }
    registry = get_command(commands).commands
    assert list(told) == list(registry)
    for name, command in registry.items():
        call, _, options = told[name]
        named = set(re.findall(r"--[a-z-]+", options))
        known = {
            word for one in command.params for word in (*one.opts, *one.secondary_opts)
            if word.startswith("--")
        }  # fmt: skip
        assert named == known - {"--help"}, name
        arguments = [one for one in command.params if not one.opts[0].startswith("-")]
        shape = [one.name.upper() if one.required else f"[{one.name.upper()}]" for one in arguments]
        assert call == " ".join(["`aging", name, *shape]) + "`"


def test_every_sheet_and_column_is_told():
    told = {file: columns.split(", ") for file, columns in table_rows("README.md")["file columns"]}
    assert len(told) == len(SHEETS)
    for name, sheet in SHEETS.items():
        file = "weather/SITE.csv" if name == "weather" else f"{name}.csv"
        columns = [one for one in sheet.columns if (name, one.name) != ("weather", "site")]
        assert told[file] == [f"**{one.name}**" if one.required else one.name for one in columns]
