"""The ledger: an append-only store of the facts of exposures, in SQLite or PostgreSQL."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

import pandas as pd

from aging.ledger import append as _append
from aging.ledger import batches, copies, corrections
from aging.ledger import people as _people
from aging.ledger import read as _read
from aging.ledger import verify as _verify
from aging.ledger.migrate import bring_up_to_date
from aging.ledger.people import DeedRow, PersonRow
from aging.ledger.receipt import Receipt
from aging.ledger.store import Store, connect, keep_log
from aging.ledger.verify import Verdict
from aging.records import SHEETS, Exposure


class Ledger:
    """An open store. Nothing in it is ever changed: loads and corrections only add rows."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"Ledger({self.label!r})"

    @property
    def label(self) -> str:
        """Path or URL of the store, without its password."""
        return self._store.label

    @property
    def revision(self) -> int:
        """Number of the newest batch, which grows with everything stored; 0 when empty."""
        with self._store.reading() as conn:
            return batches.revision(conn)

    @property
    def head(self) -> str:
        """Digest of the newest batch, which no other content has; empty when empty."""
        with self._store.reading() as conn:
            return batches.head(conn)

    def append(
        self,
        exposure: Exposure,
        *,
        by: str,
        source: str,
        on_progress: _append.Progress | None = None,
    ) -> tuple[Receipt, ...]:
        """Store what is new in `exposure`; see `aging.ledger.append`."""
        return _append.append(self._store, exposure, by=by, source=source, on_progress=on_progress)

    def correct(
        self, reading_id: str, value: float, *, by: str, reason: str, remark: str | None = None
    ) -> str:
        """Supersede a reading by one with another value; see `aging.ledger.corrections`."""
        return corrections.correct(
            self._store, reading_id, value, by=by, reason=reason, remark=remark
        )

    def read(
        self, as_of_revision: int | None = None, *, only: Collection[str] = tuple(SHEETS)
    ) -> Exposure:
        """Facts that stand, now or as known at an earlier revision; see `aging.ledger.read`."""
        return _read.read(self._store, as_of_revision, only=only)

    def history(self, since: str = "", as_of_revision: int | None = None) -> pd.DataFrame:
        """Every reading ever recorded, or read since a day; see `aging.ledger.read`."""
        return _read.history(self._store, since, as_of_revision)

    def recorded(self, sheet: str, as_of_revision: int | None = None) -> pd.DataFrame:
        """Every row of a sheet ever stored, by whom and when; see `aging.ledger.read`."""
        return _read.recorded(self._store, sheet, as_of_revision)

    def people(self) -> tuple[PersonRow, ...]:
        """All that was ever told of people; `aging.access` says what it means."""
        return _people.people(self._store)

    def tell(
        self, rows: Sequence[PersonRow], judge: Callable[[tuple[PersonRow, ...]], None]
    ) -> None:
        """Add rows on people unless `judge` raises; see `aging.ledger.people`."""
        _people.tell(self._store, rows, judge)

    def deeds(self, since: str = "") -> tuple[DeedRow, ...]:
        """Who did what since a moment (ISO 8601, UTC)."""
        return _people.deeds(self._store, since)

    def record(self, row: DeedRow) -> None:
        """Add a deed."""
        _people.record(self._store, row)

    def verify(self) -> Verdict:
        """Compare every batch with its seal in the chain; see `aging.ledger.verify`."""
        return _verify.verify(self._store)

    def backup(self, file: str | Path) -> Verdict:
        """Copy the store, as it is at one moment, into a new file; see `aging.ledger.copies`."""
        return copies.backup(self._store, file)

    def close(self) -> None:
        """Let go of the store."""
        self._store.engine.dispose()


def open_ledger(where: str | Path, *, create: bool = False) -> Ledger:
    """Open the store at a path, or at a sqlite:/// or postgresql:// URL, migrating an older one.

    `create` makes a store where there is none. LedgerError for a file that is missing, is no store
    of readings or was written by a newer release, and for a server that cannot be reached.
    """
    store = connect(where, create=create)
    bring_up_to_date(store, create=create)
    keep_log(store)
    return Ledger(store)
