"""How a row of a load relates to the stored row of the same key, in SQL."""

from __future__ import annotations

from sqlalchemy import ColumnElement, Connection, func, or_, select

from aging.ledger.schema import STAGES, TABLES, content
from aging.records import SHEETS, Finding


def is_newest_of_key(sheet: str) -> ColumnElement[bool]:
    """Whether the stored row is the newest one with the key of the row laid down."""
    table, stage = TABLES[sheet], STAGES[sheet]
    other = table.alias()
    required = {column.name for column in SHEETS[sheet].columns if column.required}
    same = (
        other.c[name] == stage.c[name]
        if name in required | {"reading_id"}
        else other.c[name].is_not_distinct_from(stage.c[name])
        for name in SHEETS[sheet].key
    )
    newest = select(func.max(other.c.id)).where(*same).correlate(stage)
    return table.c.id == newest.scalar_subquery()


def is_different(sheet: str) -> ColumnElement[bool]:
    """Whether the two rows differ outside their key."""
    table, stage = TABLES[sheet], STAGES[sheet]
    rest = (name for name in content(sheet) if name not in SHEETS[sheet].key)
    return or_(*(table.c[name].is_distinct_from(stage.c[name]) for name in rest))


def conflicts(conn: Connection, sheet: str) -> tuple[Finding, ...]:
    """A finding for each row laid down that differs from the stored one."""
    table, stage, names = TABLES[sheet], STAGES[sheet], content(sheet)
    both = select(*(stage.c[name] for name in names), *(table.c[name] for name in names))
    rows = conn.execute(
        both.select_from(stage.join(table, is_newest_of_key(sheet)))
        .where(is_different(sheet))
        .order_by(stage.c.place)
    )
    width = len(names)
    return tuple(
        _conflict(
            sheet,
            dict(zip(names, row[:width], strict=True)),
            dict(zip(names, row[width:], strict=True)),
        )
        for row in rows
    )


def _conflict(sheet: str, new: dict[str, object], old: dict[str, object]) -> Finding:
    changed = [name for name in new if new[name] != old[name]]
    key = "/".join(str(new[name]) for name in SHEETS[sheet].key if new[name] is not None)
    return Finding(
        code="conflicts-with-ledger",
        severity="block",
        sheet=sheet,
        row=None,
        column=changed[0],
        seen=f"{key}: {_shown(new, changed)}",
        allowed=f"as stored: {_shown(old, changed)}",
        action=(
            "if the new row is right, record a correction: a reading_id of its own, supersedes"
            f" {key} and a reason"
            if sheet == "readings"
            else "nothing that was claimed is edited: withdraw the claim, or replace it"
            if SHEETS[sheet].fixed
            else "keep one of the two rows of this key"
        ),
    )


def _shown(row: dict[str, object], names: list[str]) -> str:
    cells = (f"{name} {'(blank)' if row[name] is None else row[name]}" for name in names)
    return ", ".join(cells)
