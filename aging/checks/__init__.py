"""Second looks: rules that question stored readings, and how a question is settled.

>>> from aging.checks import check
>>> from aging.source import open_source
>>> check(open_source("sample_exposure")).open  # doctest: +SKIP

The rules are data: `rules.csv` says what each means and asks for, `limits.csv` holds its numbers
with their sources, and a site's own limits replace them.
"""

from __future__ import annotations

from aging.checks.checking import COLUMNS, OPEN, QUESTIONED, RULES, Checked, check
from aging.checks.limits import Limits, limits_with, own_limits
from aging.checks.settling import settle
from aging.checks.simple import simple_limits

__all__ = [
    "COLUMNS", "OPEN", "QUESTIONED", "RULES", "Checked", "Limits", "check", "limits_with",
    "own_limits", "settle", "simple_limits",
]  # fmt: skip
