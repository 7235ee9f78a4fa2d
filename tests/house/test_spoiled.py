"""Central formulas, spoiled one at a time in a copy: the tests beside them must notice."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

import pytest
from house import ROOT

pytestmark = pytest.mark.slow
SPOILED = {
    "heat balance": (
        "aging/optics/heat.py", "gain += radiant * around.sky**4",
        "gain -= radiant * around.sky**4",
        "tests/published/test_sri_values.py",
    ),
    "pace of a course": (
        "aging/decay/paths.py", "STRETCH * _kt(k, t) ** STRETCH", "_kt(k, t) ** STRETCH",
        "tests/decay/test_posterior.py",
    ),
    "evidence of groups": (
        "aging/decay/elimination.py", "2 * visits.shares.sum() * np.log(spread)",
        "visits.shares.sum() * np.log(spread)", "tests/decay/test_posterior.py",
    ),
    "how far formulations part": (
        "aging/decay/elimination.py", "spreads[:, 1:] *= grid.apart[:, None]",
        "spreads *= grid.apart[:, None]", "tests/decay/test_posterior.py",
    ),
    "score of draws": (
        "aging/decay/scores.py", "ranks = 2 * np.arange(1, size + 1) - size - 1",
        "ranks = 2 * np.arange(1, size + 1) - size", "tests/published/test_scores.py",
    ),
    "tolerance factor": (
        "aging/decay/tolerance.py", "nctdtrit(size - 1,", "nctdtrit(size,",
        "tests/published/test_tolerance.py",
    ),
    "simultaneous intervals": (
        "aging/comparison/family.py", "middle - factor * below", "middle - below",
        "tests/published/test_multiple_comparisons.py",
    ),
    "bound of a measured mean": (
        "aging/claims/proposal.py", "/ len(each) ** 2", "/ len(each)",
        "tests/claims/test_proposal.py",
    ),
    "chain of records": (
        "aging/ledger/chain.py", "_compact([previous, list(facts)])", "_compact([list(facts)])",
        "tests/ledger/test_ledger_verify.py",
    ),
}  # fmt: skip


@pytest.fixture
def copy(tmp_path):
    for folder in ("aging", "tests", "sample_exposure", "dashboard"):
        shutil.copytree(ROOT / folder, tmp_path / folder)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


@pytest.mark.parametrize("name", SPOILED)
def test_a_spoiled_formula_is_noticed(copy, name):
    file, right, wrong, beside = SPOILED[name]
    text = (copy / file).read_text()
    assert text.count(right) == 1
    (copy / file).write_text(text.replace(right, wrong))
    env = os.environ | {"PYTHONPATH": str(copy), "AGING_CACHE": "off"}
    told = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", beside],
        cwd=copy, env=env, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert told.returncode == 1, told.stdout[-2000:]  # tests ran, and at least one failed
    assert "failed" in told.stdout
