"""CI fails on a known vulnerability, and says so where it could not ask."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from house import ROOT

BAD = {"name": "b", "version": "1", "vulns": [{"id": "X-1", "fix_versions": ["2"]}]}
GOOD = {"name": "g", "version": "1", "vulns": []}
UNASKED = {"name": "u", "skip_reason": "not found"}


@pytest.mark.parametrize(
    ("packages", "code", "told"),
    [
        ([GOOD, UNASKED], 0, "asked about 1 of 2 packages"),
        ([GOOD, BAD], 1, "vulnerable: b 1: X-1; mended in 2"),
        ([UNASKED], 0, "cannot be reached from here"),
        (None, 0, "cannot be reached from here"),
    ],
)
def test_known_vulnerabilities_fail_and_what_was_not_asked_is_said(tmp_path, packages, code, told):
    report = tmp_path / "report.json"
    report.write_text("" if packages is None else json.dumps({"dependencies": packages}))
    done = subprocess.run(
        [sys.executable, ROOT / ".ci/advisories", report],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (code, "")
    assert told in done.stdout
