"""The append-only store: what was read, by whom, when, and what has been corrected since."""

from __future__ import annotations

from aging.ledger.copies import restore
from aging.ledger.folder import export
from aging.ledger.ledger import Ledger, open_ledger
from aging.ledger.people import DeedRow, PersonRow
from aging.ledger.receipt import Receipt
from aging.ledger.verify import Break, Verdict

__all__ = [
    "Break", "DeedRow", "Ledger", "PersonRow", "Receipt", "Verdict", "export", "open_ledger",
    "restore",
]  # fmt: skip
