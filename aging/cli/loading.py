"""Rows from files into a store: our sheets, or a laboratory's tables by a matching of columns."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from aging.cli import findings, output
from aging.errors import CallError, require
from aging.intake.matching import Matching
from aging.records import Exposure


def load(
    source: Path, store: str, *, columns: Path | None, by: str, day_first: bool | None,
    json: str | None,
) -> int:  # fmt: skip
    """Store accepted rows and the matching that read them; the exit code."""
    from aging import intake, ledger
    from aging.intake.matching import known_for, to_sheet

    require(source.exists(), "source", str(source), "a folder, a workbook or a table that is there")
    with output.progress("reading") as step:
        tables = intake.foreign(source)
        known, matchings = _stored(store) if tables else (None, [])
        matchings += matching_file(columns) if columns else []
        used = [one for table in tables if (one := known_for(table, matchings)) is not None]
        if columns or (tables and source.suffix.lower() == ".csv"):
            require(bool(used), "headers", ", ".join(tables[0].headers) if tables else source.name,
                    "those of a matching; write one with --propose FILE.csv, look it over, then "
                    "give it with --columns FILE.csv")  # fmt: skip
        read = intake.read(source, day_first=day_first, matchings=used,
                           known=known if used else None)  # fmt: skip
        facts = (
            replace(read.exposure, matchings=to_sheet(used).matchings) if used else read.exposure
        )
        with ledger.open_ledger(store, create=True) as book:
            receipts = book.append(facts, by=by, source=str(source), on_progress=step)
    output.give(
        json,
        {"receipts": receipts, "tallies": read.tallies,
         "findings": findings.of_load(read, receipts), "notes": read.notes},
        lambda: findings.show_load(read, receipts, store),
    )  # fmt: skip
    return int(read.blocked or any(one.refused for one in receipts))


def propose(source: Path, store: str, out: Path) -> list[str]:
    """Write what the headers of the tables seem to mean; what to tell of it."""
    from aging import intake
    from aging.intake.matching import known_for, to_sheet
    from aging.intake.matching import propose as proposed

    tables = intake.foreign(source)
    require(bool(tables), "source", str(source), "a table whose headers are not those of a sheet")
    _, known = _stored(store)
    matchings = {table.file: known_for(table, known) or proposed(table) for table in tables}
    frame = to_sheet(matchings.values()).matchings.drop(columns="extra")
    frame.to_csv(out, index=False)
    lacking = [f"{file}: nothing means {', '.join(one.lacking)} yet"
               for file, one in matchings.items() if one.lacking]  # fmt: skip
    return [
        *lacking,
        f"wrote {out}: look over what each header means, then give it with --columns {out}",
    ]


def matching_file(path: Path) -> list[Matching]:
    """The matchings of a file; CallError where a row of it cannot be."""
    from datetime import UTC, datetime

    from aging.intake.columns import read_columns
    from aging.intake.matching import from_sheet
    from aging.intake.text import parse

    raw = parse("matchings", path.name, path.read_bytes())
    desk = read_columns(raw, day_first=None, today=datetime.now(UTC).date())
    for one in desk.findings:
        raise CallError(f"{one.sheet}, row {one.row}, {one.column}: {one.seen!r}; "
                        f"allowed: {one.allowed}")  # fmt: skip
    return from_sheet(desk.frame())


def _stored(store: str) -> tuple[Exposure | None, list[Matching]]:
    """What a store knows of panels, and the matchings that it remembers."""
    from aging import ledger
    from aging.intake.matching import from_sheet

    if "://" not in store and not Path(store).exists():
        return None, []
    with ledger.open_ledger(store, create=True) as book:
        known = book.read(only=("sites", "formulations", "panels", "matchings"))
    return known, from_sheet(known.matchings)
