"""What the technician's first page says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from dashboard.wording import plural

OVERDUE, DUE_NOW, DOUBTS, NEXT_VISIT = (
    "Visits overdue", "Visits due", "Open doubts", "Next visit from",
)  # fmt: skip
VISITS_HEADING, LAST_HEADING, COMING_HEADING = "Due", "Last visits", "To come"
LOG_IT, LOG_ANYWAY = "Log this visit", "Log a visit all the same"
DOUBTS_HEADING, SETTLE_IT = "In doubt", "Look at them and settle them"
NO_DAY, NO_DOUBT = "none planned", "No reading asks for a second look."
PLAN_COLUMNS = {
    "site": "Site", "due_on": "Due", "opens_on": "From", "closes_on": "Until",
    "months": "Months exposed", "panels": "Panels", "read_panels": "Of them read",
}  # fmt: skip
DOUBT_COLUMNS = {
    "severity": "How grave", "visit": "Visit", "panel": "Panel", "what": "What is odd",
    "action": "What to do",
}  # fmt: skip
LAST_COLUMNS = {"site": "Site", "on": "Day", "panels": "Panels read", "readings": "Readings"}


def day(when: pd.Timestamp) -> str:
    """A day, or that there is none."""
    return NO_DAY if pd.isna(when) else f"{when:%Y-%m-%d}"


def visit(row: Mapping[Any, Any]) -> str:
    """A visit to make now."""
    return (
        f"{row['site']}, after {row['months']:g} months: {row['state']}, planned for "
        f"{row['due_on']:%Y-%m-%d}, possible until {row['closes_on']:%Y-%m-%d}; "
        f"{row['read_panels']} of {plural(row['panels'], 'panel')} read."
    )


def not_due(coming: pd.DataFrame) -> str:
    """That nothing is due, and what comes next."""
    if coming.empty:
        return "No visit is due, and none is planned."
    row = coming.sort_values("opens_on").iloc[0]
    return (
        f"No visit is due today. Next: {row['site']}, after {row['months']:g} months, from "
        f"{row['opens_on']:%Y-%m-%d} to {row['closes_on']:%Y-%m-%d}."
    )


def doubts(found: pd.DataFrame) -> str:
    """How many doubts of each gravity, the gravest first."""
    if found.empty:
        return NO_DOUBT
    counts = found.groupby("severity", sort=False).size()
    told = "; ".join(f"{name.lower()}: {count}" for name, count in counts.items())
    return f"{told[0].upper()}{told[1:]}."


def missed(count: int) -> str:
    """What the folded table of past visits holds."""
    return f"{plural(count, 'planned visit')} missed so far"
