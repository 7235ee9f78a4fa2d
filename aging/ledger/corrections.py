"""Corrections: readings that supersede stored ones. Each reading has at most one successor."""

from __future__ import annotations

import numpy as np
import pandas as pd
from sqlalchemy import Connection, insert, select

from aging.errors import LedgerError, require
from aging.ledger.batches import now, open_batch, said
from aging.ledger.schema import READINGS, content
from aging.ledger.store import Store
from aging.records import Finding
from aging.vocabulary import property_named

_ASK_AT_ONCE = 500


def judge(conn: Connection, readings: pd.DataFrame) -> tuple[pd.DataFrame, tuple[Finding, ...]]:
    """Readings without the corrections that cannot stand, and a finding for each of those."""
    marked = readings["supersedes"].notna().to_numpy()
    if not marked.any():
        return readings, ()
    targets = set(readings.loc[marked, "supersedes"])
    known = (targets & set(readings.loc[~marked, "reading_id"])) | _stored(conn, targets)
    heirs = _heirs(conn, targets)
    columns = ("reading_id", "supersedes", "reason")
    named = zip(*(readings.loc[marked, name] for name in columns), strict=True)
    waiting = list(zip(np.flatnonzero(marked).tolist(), named, strict=True))
    refused: dict[int, Finding] = {}
    progress = True
    while progress:  # a correction of a correction may stand above it in the same file
        later = []
        for place, (reading_id, target, reason) in waiting:
            if pd.isna(reason) or not reason.strip():
                refused[place] = _no_reason(reading_id, target)
            elif target not in known:
                later.append((place, (reading_id, target, reason)))
            elif heirs.setdefault(target, reading_id) == reading_id:
                known.add(reading_id)
            else:
                refused[place] = _second_heir(reading_id, target, heirs[target])
        progress = len(later) < len(waiting)
        waiting = later
    refused |= {place: _unknown(reading_id, target) for place, (reading_id, target, _) in waiting}
    keep = np.ones(len(readings), dtype=bool)
    keep[list(refused)] = False
    return readings[keep], tuple(refused[place] for place in sorted(refused))


def correct(
    store: Store, reading_id: str, value: float, *, by: str, reason: str, remark: str | None = None
) -> str:
    """Record that a reading should have been `value` and return the id of the new reading.

    Everything else is taken over from the old one, its remark too unless a new one is given.
    CallError for an empty `by` or `reason` and for a value that its property cannot have;
    LedgerError for an id that is unknown or superseded already.
    """
    by, reason = said("by", by), said("reason", reason)
    with store.writing() as conn:
        old = conn.execute(select(READINGS).where(READINGS.c.reading_id == reading_id)).mappings()
        found = old.one_or_none()
        if found is None:
            raise LedgerError(f"store {store.label}: no reading {reading_id!r}; check its id")
        heir = _heirs(conn, {reading_id}).get(reading_id)
        if heir is not None:
            raise LedgerError(
                f"store {store.label}: reading {reading_id!r} is superseded by {heir!r} already;"
                " correct that one"
            )
        prop = property_named(found["property"])
        in_range = f"{prop.low:g} to {prop.high:g} {prop.unit} for {prop.name}"
        require(prop.low <= value <= prop.high, "value", value, in_range)
        new = {name: found[name] for name in content("readings")} | {
            "reading_id": _next_id(conn, reading_id),
            "value": float(value),
            "supersedes": reading_id,
            "reason": reason,
            "remark": found["remark"] if remark is None else said("remark", remark),
        }
        with open_batch(conn, by=by, at=now(), source="correction", reason=reason) as batch:
            conn.execute(insert(READINGS).values(new | {"batch": batch()}))
    return str(new["reading_id"])


def _next_id(conn: Connection, reading_id: str) -> str:
    stem, _, number = reading_id.rpartition("~")
    if not (stem and number.isdecimal()):
        stem, number = reading_id, "1"
    count = int(number) + 1
    while _stored(conn, {f"{stem}~{count}"}):
        count += 1
    return f"{stem}~{count}"


def _asked(ids: set[str]) -> list[list[str]]:
    every = sorted(ids)
    return [every[start : start + _ASK_AT_ONCE] for start in range(0, len(every), _ASK_AT_ONCE)]


def _stored(conn: Connection, ids: set[str]) -> set[str]:
    column = READINGS.c.reading_id
    return {
        found
        for some in _asked(ids)
        for found in conn.scalars(select(column).where(column.in_(some)))
    }


def _heirs(conn: Connection, ids: set[str]) -> dict[str, str]:
    old, new = READINGS.c.supersedes, READINGS.c.reading_id
    return {
        row[0]: row[1]
        for some in _asked(ids)
        for row in conn.execute(select(old, new).where(old.in_(some)))
    }


def _refusal(code: str, column: str, seen: str, allowed: str, action: str) -> Finding:
    return Finding(code, "block", "readings", None, column, seen, allowed, action)


def _no_reason(reading_id: str, target: str) -> Finding:
    return _refusal(
        "missing-reason", "reason", f"{reading_id} supersedes {target} without a reason",
        "a reason wherever supersedes is filled", "say why the old reading was wrong",
    )  # fmt: skip


def _second_heir(reading_id: str, target: str, heir: str) -> Finding:
    return _refusal(
        "superseded-twice", "supersedes", f"{reading_id} supersedes {target}",
        f"one successor; {target} is superseded by {heir}", f"let it supersede {heir} instead",
    )  # fmt: skip


def _unknown(reading_id: str, target: str) -> Finding:
    return _refusal(
        "unknown-supersedes", "supersedes", f"{reading_id} supersedes {target}",
        "a reading_id of this load or of the store", "check the id, or load that reading first",
    )  # fmt: skip
