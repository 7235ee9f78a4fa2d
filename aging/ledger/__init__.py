"""The append-only store: what was read, by whom, when, and what has been corrected since."""

from __future__ import annotations

from aging.ledger.folder import export
from aging.ledger.ledger import Ledger, open_ledger
from aging.ledger.receipt import Receipt

__all__ = ["Ledger", "Receipt", "export", "open_ledger"]
