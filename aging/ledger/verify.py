"""Whether the store still holds what was stored, and where it does not.

A batch that was altered no longer fits its seal, and the chain says so at that batch alone. What
the chain cannot see by itself is that its last batches were cut off, or that all of it was sealed
anew: a digest that was noted elsewhere shows both. The logs of people and of deeds are chains
of their own, row by row. Photos are named by the digest of their content.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from sqlalchemy import select

from aging.ledger.chain import Content, batch_digest, read_seal
from aging.ledger.guards import unguarded
from aging.ledger.people import chained
from aging.ledger.schema import BATCH, DEEDS, PEOPLE, SEAL, TABLES
from aging.ledger.seals import contents
from aging.ledger.store import Store

PHOTOS = "AGING_PHOTOS"


@dataclass(frozen=True)
class Break:
    """A batch that is not as it was sealed; its facts are None where the batch is gone."""

    batch: int
    recorded_at: str | None
    recorded_by: str | None
    source: str | None
    what: str


@dataclass(frozen=True)
class Verdict:
    """What a check of the whole store found.

    `digests` are those of the sealed batches by number; `unguarded` names the tables that the
    database no longer protects from changes, `altered_photos` the photos that are gone
    or are not what their names say, `altered_logs` the first row of people and of deeds that does
    not fit. `logs` are the digests of their rows, in order.
    """

    rows: int
    digests: Mapping[int, str]
    breaks: tuple[Break, ...]
    unguarded: tuple[str, ...]
    altered_photos: tuple[str, ...]
    altered_logs: tuple[str, ...]
    logs: Mapping[str, tuple[str, ...]]

    @property
    def whole(self) -> bool:
        """Whether nothing was altered."""
        return not (self.breaks or self.unguarded or self.altered_photos or self.altered_logs)

    @property
    def head(self) -> str:
        """Digest of the newest batch, which stands for all of the store; empty in an empty one."""
        return self.digests[max(self.digests)] if self.digests else ""


def photos_of(store: Store) -> Path | None:
    """Folder of the photos: beside an SQLite store; for a server's as the environment says."""
    if store.engine.dialect.name == "sqlite":
        return Path(f"{store.label}.photos")
    named = os.environ.get(PHOTOS)
    return Path(named) if named else None


def verify(store: Store) -> Verdict:
    """Compare every batch with its seal, all at one moment; LedgerError where it cannot be read."""
    with store.reading() as conn:
        found = contents(conn, TABLES)
        batches = {row["id"]: dict(row) for row in conn.execute(select(BATCH)).mappings()}
        seals = {row.batch: row for row in conn.execute(select(SEAL))}
        open_to_all = unguarded(conn)
        photos = set(conn.scalars(select(TABLES["photos"].c.photo)))
        logs = {log.name: list(chained(conn, log)) for log in (PEOPLE, DEEDS)}
    numbers = set(found) | set(batches) | set(seals)
    numbers |= {number - 1 for number in numbers if number > 1}  # where a gap ends, one is gone
    breaks = []
    for number in sorted(numbers):
        facts, seal, before = batches.get(number), seals.get(number), seals.get(number - 1)
        previous = before.digest if before else ""
        known = facts or {}
        breaks += [
            Break(
                number,
                known.get("recorded_at"),
                known.get("recorded_by"),
                known.get("source"),
                what,
            )
            for what in _faults(facts, seal, previous, found.get(number, {}))
        ]
    rows = sum(count for content in found.values() for count, _ in content.values())
    digests = {number: seal.digest for number, seal in sorted(seals.items())}
    return Verdict(
        rows,
        digests,
        tuple(breaks),
        open_to_all,
        tuple(_altered(photos_of(store), photos)),
        tuple(text for name, told in logs.items() for text in _first_altered(name, told)),
        {name: tuple(row.digest for row, _ in told if row.digest) for name, told in logs.items()},
    )


def _first_altered(log: str, told: list[tuple[Any, str]]) -> list[str]:
    """The first row that does not fit; older rows are held by the first that has a digest."""
    sealed = False
    for row, due in told:
        sealed = sealed or row.digest is not None
        if sealed and row.digest != due:
            facts = ", ".join(map(repr, row[1:5]))
            return [f"{log}, row {row.id} ({facts}): it, or one just before it, is not as stored"]
    return []


def _faults(
    facts: Mapping[str, Any] | None, seal: Any, previous: str, holds: Content
) -> Iterator[str]:
    if facts is None:
        yield "the batch is gone" if seal or not holds else "rows of a batch that was never stored"
    if seal is None:
        if facts is not None:
            yield "its seal is gone"
        return
    sealed = read_seal(seal.content)
    for sheet in sorted(sealed.keys() | holds.keys()):
        then, now = sealed.get(sheet, (0, "")), holds.get(sheet, (0, ""))
        if then[0] != now[0]:
            yield f"{sheet}: {now[0]} rows, {then[0]} were stored"
        elif then != now:
            yield f"{sheet}: its {now[0]} rows are not as they were stored"
    if facts is not None and seal.digest != batch_digest(previous, facts, seal.content):
        yield "who, when, where from, why, the seal or the order of batches was changed"


def _altered(folder: Path | None, photos: set[str]) -> Iterator[str]:
    if folder is None or not folder.is_dir():  # an exported sheet travels without its photos
        return
    files = [file for file in folder.rglob("[!.]*") if file.is_file()]
    sound = {f.stem for f in files if sha256(f.read_bytes()).hexdigest() == f.stem}
    yield from sorted({file.stem for file in files} - sound | photos - sound)
