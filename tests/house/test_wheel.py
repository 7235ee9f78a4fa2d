"""What a user installs: the wheel alone, in a fresh environment, without development extras."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

import pytest
from house import ROOT, kept_files

pytestmark = pytest.mark.slow
CLEAN = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """Folder with a fresh environment in .venv and nothing of the source tree."""
    source, clean = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("clean")
    for file in kept_files():
        (source / file).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / file, source / file)
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check"]
    subprocess.run([*pip, "wheel", "-q", "--no-deps", "-w", clean, source], check=True)
    (wheel,) = clean.glob("*.whl")
    subprocess.run([sys.executable, "-m", "venv", clean / ".venv"], check=True)
    subprocess.run([clean / ".venv/bin/pip", "install", "-q", wheel], check=True)
    shutil.copytree(ROOT / "sample_exposure", clean / "sample_exposure")
    return clean


@pytest.mark.parametrize(
    ("words", "answer"),
    [
        (["--help"], "project"),
        (["check", "sample_exposure"], "readings"),
        (["load", "sample_exposure", "--store", "new.sqlite"], "stored"),
        (["project", "sample_exposure"], "A projection is not a rating."),
    ],
)
def test_the_wheel_does_the_job(installed, words, answer):
    done = subprocess.run(
        [installed / ".venv/bin/aging", *words],
        cwd=installed, env=CLEAN, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert answer in done.stdout


def test_the_dashboard_is_in_the_wheel(installed):
    code = "import importlib.util as u; print(u.find_spec('dashboard').origin)"
    done = subprocess.run(
        [installed / ".venv/bin/python", "-c", code],
        cwd=installed, env=CLEAN, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert str(installed) in done.stdout
