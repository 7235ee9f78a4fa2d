"""Settle a finding: confirm, correct or exclude its readings. Nothing is ever deleted.

A settlement is a row of the settlements sheet; further readings of the same finding have rows of
their own, named finding/2, finding/3 and so on, so that each can be left out of the series.
"""

from __future__ import annotations

import pandas as pd

from aging.checks.checking import Checked
from aging.errors import CallError, require
from aging.ledger import Ledger
from aging.records import Exposure, empty_frame
from aging.vocabulary import DECISIONS


def settle(
    ledger: Ledger,
    checked: Checked,
    finding: str,
    decision: str,
    *,
    reason: str,
    by: str,
    value: float | None = None,
) -> int:
    """Record how a finding is settled and return of how many readings.

    decision: one of `vocabulary.DECISIONS`; "corrected" supersedes the finding's one reading by
    `value`, "excluded" leaves its readings out of every series, "reopened" takes the last decision
    back. CallError for a finding that the check does not know, for a value too many or too few, and
    for what cannot be taken back: a corrected value is only corrected again.
    """
    reopens = decision == "reopened"
    rows = _reopenable(ledger) if reopens else checked.frame
    rows = rows[rows["finding"].str.split("/").str[0] == finding]
    require(decision in DECISIONS, "decision", decision, DECISIONS)
    require(bool(reason.strip()), "reason", reason, "why it is settled so")
    listed = "of those confirmed or excluded" if reopens else "that `aging check` lists with --all"
    require(len(rows) > 0, "finding", finding, f"an id {listed}")
    corrects = decision == "corrected"
    require(corrects == (value is not None), "value", value, "a value where it is corrected only")
    ids = rows["reading_id"].dropna()
    if decision in ("corrected", "excluded") and ids.empty:
        raise CallError(f"finding {finding} is about no reading; confirm it with a reason instead")
    if value is not None:
        require(len(ids) == 1, "finding", finding, "a finding of one reading, to correct its value")
        ledger.correct(ids.iloc[0], value, by=by, reason=reason)
    names = [finding, *(f"{finding}/{number}" for number in range(2, len(rows) + 1))]
    sheet = empty_frame("settlements").reindex(range(len(rows)))
    sheet = sheet.assign(
        finding=names, rule=rows["rule"].to_numpy(), reading_id=rows["reading_id"].to_numpy(),
        decision=decision, reason=reason.strip(),
    ).astype("str")  # fmt: skip
    sheets = {name: empty_frame(name) for name, _ in ledger.read().frames()}
    stored = Exposure(**{**sheets, "settlements": sheet})
    ledger.append(stored, by=by, source="settlement")
    return len(ids)


def _reopenable(ledger: Ledger) -> pd.DataFrame:
    """Settlements that stand and may be reopened: an excluded reading may raise no finding now."""
    rows = ledger.read(only=("settlements",)).settlements
    return rows[rows["decision"].isin(["confirmed", "excluded"])]
