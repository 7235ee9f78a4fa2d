"""What the product manager's first page says."""

from __future__ import annotations

import pandas as pd

from dashboard.due_words import day

DUE_HEADING, ALL = "What is due", "Every claim, and how past ones did"
MORE = "{count} more are in the list of all claims."
NONE_STANDS = "No claim stands."
DUE_COLUMNS = {
    "site": "Site", "formulations": "Claimed formulations", "state": "Visit is", "due_on": "Due",
    "opens_on": "From", "months": "Months exposed",
}  # fmt: skip


def next_due(rows: pd.DataFrame) -> str:
    """The next visit that a claim waits for."""
    if rows.empty:
        return "No visit is planned at a site of a standing claim."
    row = rows.iloc[0]
    return f"The next reading for a claim: {row['site']}, due {day(row['due_on'])}."
