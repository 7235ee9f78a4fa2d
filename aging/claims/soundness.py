"""Gates that ask how sound it is: unwashed, calibrated, alike, undoubted, of one formula."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from aging.claims.asked import Answer, Asked, counted, listed
from aging.comparison.poolability import APART, UNTESTED, batches_of
from aging.conditions import HELD_UNDER
from aging.cube import moments

WASHED = ("like-washed", "recoated", "rose")  # rules of `aging.checks`
LOOK = "run the checks on the source"


def _doubts(asked: Asked) -> pd.DataFrame | None:
    """Open findings on the panels of the formulation."""
    found = asked.evidence.findings
    return None if found is None else found[found["panel"].isin(set(asked.rows["panel"]))]


def _identifier(asked: Asked) -> Answer:
    how = "name the body, its identifier and the date once the body has issued it"
    return bool(asked.rating.strip()), asked.rating.strip() or "none", "an issued rating", how


def _unwashed(asked: Asked) -> Answer:
    found = _doubts(asked)
    if found is None:
        return False, "not looked for", "no panel doubted as washed", LOOK
    mine = found[found["rule"].isin(WASHED)]
    panels = mine["panel"].unique()
    how = f"say of {listed(panels)} whether it was washed; if so, log the event: its series ends"
    return len(panels) == 0, counted(len(panels), "panel") + " doubted", "none", how


def _calibration(asked: Asked) -> Answer:
    rows = asked.rows
    if asked.evidence.fit.exposure.instruments.empty:
        due = pd.Series(dtype="str")
    else:
        due = asked.evidence.fit.exposure.instruments.set_index("instrument")["calibration_due"]
    until = moments(rows["instrument"].map(due).astype("str"))
    unnamed = int(rows["instrument"].isna().sum())
    unknown = rows["instrument"][until.isna()].dropna().unique()
    late = rows["instrument"][until < rows["at"].dt.normalize()].unique()
    parts = [
        f"{counted(unnamed, 'reading')} without an instrument" if unnamed else "",
        f"no calibration recorded of {listed(unknown)}" if len(unknown) else "",
        f"overdue when read: {listed(late)}" if len(late) else "",
    ]
    how = [
        "name the instrument of each reading" if unnamed else "",
        "record calibration_due in the instruments sheet" if len(unknown) else "",
        "enter the renewed calibration, or read again" if len(late) else "",
    ]
    seen = "; ".join(filter(None, parts)) or ("all valid" if len(rows) else "no readings")
    return (
        seen == "all valid",
        seen,
        "valid on the day of each reading",
        "; ".join(filter(None, how)),
    )


def _conditions(asked: Asked) -> Answer:
    columns = list(HELD_UNDER.get(asked.evidence.fit.gathered.property.name, ()))
    if not columns:
        return True, "this property has none", "one at all sites", ""
    kinds = asked.rows[columns].dropna(how="all").drop_duplicates()
    told = [" ".join(str(cell) for cell in row if pd.notna(cell)) for row in kinds.to_numpy()]
    how = "claim the sites apart, or apply one weighting to the stored spectra"
    if not told:
        how = f"record {' and '.join(columns)} with the readings"
    return len(told) == 1, "; ".join(told) or "not recorded", "one, stated, at all sites", how


def _formula(asked: Asked) -> Answer:
    known, needed = asked.evidence.changes, "none"
    if known is None:
        how = "load the readings into a store, which keeps every version of a formulation"
        return False, "not known: sheets keep no earlier versions", needed, how
    rows = known[known["formulation"] == asked.formulation].fillna("")
    if rows.empty:
        return False, "the formulation is not described", needed, "describe it in formulations"
    other = (rows[["description", "extra"]] != rows[["description", "extra"]].shift()).any(axis=1)
    other.iloc[0] = False
    start = moments(asked.rows["exposed_on"]).min()
    later = rows[other & (moments(rows["recorded_at"]) > start)]
    seen = counted(len(later), "change")
    if len(later):
        seen += f", the last recorded on {later['recorded_at'].iloc[-1][:10]}"
    return later.empty, seen, needed, "give the changed formula a name and panels of its own"


def _findings(asked: Asked) -> Answer:
    found = _doubts(asked)
    if found is None:
        return False, "not looked for", "none", LOOK
    ids = found.loc[found["severity"] == "block", "finding"].unique()
    how = f"settle {listed(ids)} (aging settle)"
    return len(ids) == 0, counted(len(ids), "finding"), "none", how


def _batches(asked: Asked) -> Answer:
    needed = f"recorded; where they differ at {asked.limit:g}, the value of the worst"
    found = batches_of(asked.evidence.fit, asked.formulation)
    if found is None:
        return (
            False,
            "not recorded",
            needed,
            "name each panel's in the column paint_batch of panels",
        )
    names, notes = found["groups"], f"; {found['notes']}" * bool(found["notes"])
    if found["verdict"] == UNTESTED:
        how = "hang panels of each batch side by side, two or more of each"
        return ", " not in names, f"{names}{notes}", needed, how
    step = found["decided_by"]
    seen = f"{names}: p of {step} {found[f'p_{step}']:.2f}{notes}"
    if found["verdict"] == APART:
        seen += f"; they differ, so that the value is that of {found['worst']}, the worst"
    return True, seen, needed, ""


def _coverage(asked: Asked) -> Answer:
    found = asked.evidence.coverage
    needed = f"{100 * asked.limit:g} %, as far as chance lets one tell"
    how = "when later readings exist that an earlier forecast can be held against"
    if found is None or found.empty:
        return False, "no forecast has been held against a later reading", needed, how
    least = float(asked.seen.min()) if len(asked.rows) else 0.0
    row = found.iloc[int((found["cut"] - least).abs().argmin())]
    seen = f"{100 * row['coverage']:.0f} % of {row['n_series']:.0f} series held from month "
    seen += f"{row['cut']:g} on (up to {100 * row['coverage_upper']:.0f} % by chance)"
    how = "look at the back-test for the site or the season that was missed"
    return bool(row["coverage_upper"] >= asked.limit), seen, needed, how


RULES: dict[str, Callable[[Asked], Answer]] = {
    "identifier": _identifier,
    "unwashed": _unwashed,
    "calibration": _calibration,
    "conditions": _conditions,
    "formula": _formula,
    "findings": _findings,
    "batches": _batches,
    "coverage": _coverage,
}
