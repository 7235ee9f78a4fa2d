"""What a check or a load found, worded for the person who keeps the field sheets."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence

from rich.console import Console
from rich.padding import Padding

from aging.cli.output import screen, table
from aging.cli.sources import refused
from aging.ledger import Receipt
from aging.records import Finding, Intake

HEADINGS = {
    "block": "Refused: these rows are not stored until they are mended",
    "confirm": "Please confirm: stored, but unusual",
    "warn": "Good to know",
}
ROWS_NAMED = 5


def show(read: Intake, source: str) -> None:
    """Tallies by sheet, then every finding, like ones together."""
    console = screen()
    console.print(f"Checked {source}", style="bold")
    counts = table(["sheet", "rows", "accepted", "refused"])
    for tally in read.tallies:
        counts.add_row(tally.sheet, *map(str, (tally.rows, tally.accepted, tally.refused)))
    console.print(counts)
    listing(console, read.findings, read.notes)
    console.print(f"\n{refused(read) or 'No'} rows refused.")


def show_load(read: Intake, receipts: Sequence[Receipt], store: str) -> None:
    """What became of each row of the folder, then the findings."""
    console = screen()
    console.print(f"Loaded into {store}", style="bold")
    counts = table(["sheet", "rows", "stored", "already there", "refused"])
    lost = Counter({tally.sheet: tally.refused for tally in read.tallies})
    for one in receipts:
        rows, gone = one.rows + lost[one.sheet], one.refused + lost[one.sheet]
        counts.add_row(one.sheet, *map(str, (rows, one.stored, one.already, gone)))
    console.print(counts)
    listing(console, of_load(read, receipts), read.notes)


def of_load(read: Intake, receipts: Sequence[Receipt]) -> tuple[Finding, ...]:
    """Findings of the sheets, then those of the store."""
    return (*read.findings, *(finding for one in receipts for finding in one.findings))


def listing(console: Console, findings: Sequence[Finding], notes: Sequence[str]) -> None:
    """Findings by severity, like ones together, then the notes."""
    for severity, heading in HEADINGS.items():
        alike: dict[tuple[str, ...], list[Finding]] = defaultdict(list)
        for one in findings:
            if one.severity == severity:
                key = (one.sheet, one.column or "", one.code, one.allowed, one.action)
                alike[key].append(one)
        if alike:
            console.print(f"\n{heading}", style="bold")
        for group in alike.values():
            tell(console, group)
    if notes:
        console.print("\nNotes", style="bold")
    for note in notes:
        _indent(console, note, 2)


def tell(console: Console, group: Sequence[Finding]) -> None:
    """Print like findings as one: where, what was seen, what is allowed, what to do."""
    first = group[0]
    rows = [one for one in group if one.row is not None]
    where = first.sheet + (f", {first.column}" if first.column else "")
    if rows:
        seen = ", ".join(f"row {one.row}: {one.seen or 'empty'}" for one in rows[:ROWS_NAMED])
        more = f" and {len(rows) - ROWS_NAMED} more rows" if len(rows) > ROWS_NAMED else ""
        where = f"{where}, {seen}{more}"
    elif first.seen:
        where = f"{where}: {first.seen}"
    _indent(console, f"{where}  [{first.code}]", 2)
    _indent(console, f"allowed: {first.allowed}; {first.action}", 6)


def _indent(console: Console, text: str, columns: int) -> None:
    console.print(Padding(text, (0, 0, 0, columns), expand=False))
