"""The record of coverage that the document shows is the one that the dashboard shows."""

from __future__ import annotations

from house import ROOT, table_rows

from aging.backtesting.measured import CAMPAIGNS, measured

HEADER = (
    "course coverage 6 / 12 / 18 / 24 months error ratio below the one-sided 95 % bound "
    "difference to the control"
)


def test_the_documents_record_is_the_record():
    rows = {row[0]: row[1:] for row in table_rows("DEVELOPERS.md")[HEADER]}
    for course, each in measured().groupby("course", sort=False):
        for told, name in zip(
            rows.pop(course), ("coverage", "error_ratio", "below", "difference"), strict=True
        ):
            assert [float(one) for one in told.split("/")] == each[name].tolist(), (course, name)
    assert not rows
    assert f"{CAMPAIGNS} simulated campaigns a course" in (ROOT / "DEVELOPERS.md").read_text()
