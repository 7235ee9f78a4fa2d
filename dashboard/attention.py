"""What needs a person's attention, by rules a person can check in the table of readings.

Three replicates of a material are the advice of ASTM G154 (significance and use); five visits
before a projection is more than its priors, and a visit no later than the longest gap so far:
common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import pandas as pd

from aging.records import Finding
from dashboard import tables, wording

REPLICATES, VISITS = 3, 5
Item = tuple[str, str, str, str]


def items(
    sites: pd.DataFrame, series: pd.DataFrame, read: pd.DataFrame, unread: pd.DataFrame
) -> pd.DataFrame:
    """One row a matter: matter, where, seen, action. Frames as `tables` makes them."""
    running = series[series["open"] > 0]
    rules = (_late(sites, read), _without_control(running), _thin(running), _unread(unread))
    rows = [item for rule in rules for item in rule]
    return pd.DataFrame(rows, columns=["matter", "where", "seen", "action"], dtype="str")


def findings(found: Iterable[Finding]) -> pd.DataFrame:
    """Every finding of the intake as a row; `row` is the line of the file."""
    names = ["severity", "code", "sheet", "row", "column", "seen", "allowed", "action"]
    frame = pd.DataFrame([{n: getattr(f, n) for n in names} for f in found], columns=names)
    return frame.astype({"row": "Int64"})


def finding_counts(frame: pd.DataFrame) -> pd.DataFrame:
    """Findings counted by severity and code, the blocking ones first."""
    grouped = frame.groupby(["severity", "code"]).agg(
        count=("seen", "size"), action=("action", "first")
    )
    return grouped.reset_index().sort_values(["severity", "count"], ascending=[True, False])


def _late(sites: pd.DataFrame, read: pd.DataFrame) -> Iterator[Item]:
    seen = tables.visits(read[read["closed_on"].isna()])
    for row in sites[sites["open"] > 0].itertuples():
        gaps = seen.loc[seen["site"] == row.site, "on"].sort_values().diff().dt.days.dropna()
        if len(gaps) and row.days > gaps.max():
            said = wording.LATE.format(days=int(row.days), longest=int(gaps.max()))
            yield wording.VISIT_DUE, str(row.site), said, wording.PLAN_VISIT


def _without_control(series: pd.DataFrame) -> Iterator[Item]:
    controls = set(series.loc[series["role"] == "control", "site"])
    for site in sorted(set(series["site"]) - controls):
        yield wording.NO_CONTROL, str(site), wording.NONE_SEEN, wording.ADD_CONTROL


def _thin(series: pd.DataFrame) -> Iterator[Item]:
    for row in series.itertuples():
        where = f"{row.site}, {row.formulation}"
        if row.open < REPLICATES:
            said = wording.COUNT.format(count=row.open, what="panels")
            yield wording.FEW_PANELS, where, said, wording.MORE_PANELS.format(count=REPLICATES)
        if row.visits < VISITS:
            said = wording.COUNT.format(count=row.visits, what="visits")
            yield wording.FEW_VISITS, where, said, wording.MORE_VISITS.format(count=VISITS)


def _unread(panels: pd.DataFrame) -> Iterator[Item]:
    for row in panels.itertuples():
        yield wording.NEVER_READ, f"{row.site}, {row.panel}", wording.NONE_SEEN, wording.READ_IT
