"""The chain of digests over all batches: whatever is altered later no longer fits its digest.

    sheet digest   SHA-256 over the rows of one batch in one sheet, in the order of their ids: for
                   every 1000 rows the JSON text [[column, [cells]], ...], columns by name, those
                   without a single cell left out
    batch digest   SHA-256 over the JSON text [previous batch digest, facts of the batch, seal],
                   where the seal is JSON text {sheet: [rows, sheet digest]}
    log digest     SHA-256 over the JSON text [digest of the row before, facts of the row], of each
                   row on people or deeds, a chain a table

JSON writes a number with the fewest digits that read back the same, and text in ASCII, so that
every database and every Python gives equal texts. Columns that a later release adds are empty in
earlier rows and so leave earlier digests as they are.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from hashlib import sha256
from itertools import islice

Content = dict[str, tuple[int, str]]
ROWS_AT_ONCE = 1000
_compact = json.JSONEncoder(separators=(",", ":"), sort_keys=True, default=repr).encode


def sheet_digest(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> tuple[int, str]:
    """Number of rows and their digest; `columns` are sorted by name, a missing cell is None."""
    count, digest, left = 0, sha256(), iter(rows)
    while part := list(islice(left, ROWS_AT_ONCE)):
        count += len(part)
        cells = zip(columns, zip(*part, strict=True), strict=True)
        filled = [(name, column) for name, column in cells if column.count(None) < len(part)]
        digest.update(_compact(filled).encode())
    return count, digest.hexdigest()


def seal_text(content: Content) -> str:
    """What a batch holds, as the text that is kept and goes into its digest."""
    return _compact(content)


def read_seal(text: str) -> Content:
    """The content behind a seal's text; empty where somebody made the text unreadable."""
    try:
        return {sheet: (rows, digest) for sheet, (rows, digest) in json.loads(text).items()}
    except (ValueError, TypeError, AttributeError):
        return {}


def log_digest(previous: str, facts: Sequence[object]) -> str:
    """Digest of a row of a log that follows the one with digest `previous` (empty: the first)."""
    return sha256(_compact([previous, list(facts)]).encode()).hexdigest()


def batch_digest(previous: str, facts: Mapping[str, object], seal: str) -> str:
    """Digest of a batch that follows the one with digest `previous` (empty: it is the first)."""
    known = {name: fact for name, fact in facts.items() if fact is not None}
    return sha256(_compact([previous, known, seal]).encode()).hexdigest()
