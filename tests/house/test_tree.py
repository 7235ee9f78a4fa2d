"""What holds for every file: where it may stand, how long it may be, what it must not say."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from house import ROOT, kept_files

TOP = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "aging", "dashboard", "tests",
    "sample_exposure",
}  # fmt: skip
LONGEST = 400
FORBIDDEN = re.compile(  # a bracket keeps each word from finding itself here
    r"unsafe_[a]llow_html|T[O]DO|FIX[M]E|NotImplemented[E]rror"
    r"|(?<![\w.])/(?:home|root|Users|work)/\w|[A-Z]:\\Users"
)

RULES = {Path("tests/dashboard/test_rules.py")}  # forbids, by name, what it must not find
ABOUT = {"unsafe_" + "allow_html"}


def test_top_level_is_as_laid_down():
    tops = {file.parts[0] for file in kept_files()}
    assert {name for name in tops if not name.startswith(".")} <= TOP
    assert {"README.md", "DEVELOPERS.md", "pyproject.toml", "aging", "dashboard"} <= tops


def test_rooms_stay_small():
    long = {}
    for file in kept_files():
        if file.suffix == ".py":
            lines = (ROOT / file).read_text(encoding="utf-8").count("\n")
            if lines > LONGEST:
                long[str(file)] = lines
    assert not long


def test_nothing_unfinished_unsafe_or_tied_to_one_machine_is_kept():
    found = []
    for file in kept_files():
        try:
            text = (ROOT / file).read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        found += [(file, hit[0]) for hit in FORBIDDEN.finditer(text)]
    told = [(file, word) for file, word in found if not (file in RULES and word in ABOUT)]
    assert not told


@pytest.mark.parametrize("word", ["todo: later".upper(), str(Path("/", "home", "someone"))])
def test_the_word_check_can_fail(word):
    assert FORBIDDEN.search(word)


def test_floors_hold():
    linter = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run(
        [linter, "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout
    assert "1 kept, 0 broken" in done.stdout


@pytest.mark.parametrize("room", ["aging", "aging.cli"])
def test_a_command_starts_without_the_heavy_rooms(room):
    code = f"import sys, {room}; print(*(m for m in sys.modules if '.' not in m))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    heavy = {"altair", "numba", "pandas", "scipy", "sqlalchemy", "statsmodels", "streamlit"}
    assert not heavy & set(done.stdout.split())
