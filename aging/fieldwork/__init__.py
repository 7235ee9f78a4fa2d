"""The technician's visit: round sheets that go out, round files that come back.

>>> from aging.fieldwork import html, round_sheet
>>> from aging.source import open_source
>>> sheet = round_sheet(open_source("sample_exposure"), "AMARO", "2026-04-03")  # doctest: +SKIP
>>> page = html(sheet)  # doctest: +SKIP
"""

from __future__ import annotations

from aging.fieldwork.round_file import read_round
from aging.fieldwork.round_sheet import RoundSheet, html, round_sheet

__all__ = ["RoundSheet", "html", "read_round", "round_sheet"]
