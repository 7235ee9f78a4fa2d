"""Every exception this package raises on purpose.

    AgingError
    |-- CallError       a wrong argument; the message lists what is allowed
    |-- SourceError     a folder, workbook or file that cannot be read at all
    |-- LedgerError     the store refused, is busy, full, read-only or not ours
    |   `-- EmptyStoreError    nothing was ever put into it
    |-- AccessError     the person is not known, not proved, or may not do this
    |-- ModelError      the data cannot carry the model that was asked for

Bad cells in readable files are not exceptions: they are findings (aging.records.Finding).
"""

from __future__ import annotations

from collections.abc import Iterable


class AgingError(Exception):
    """Base of all errors that a person can act on."""


class CallError(AgingError, ValueError):
    """A wrong argument."""


class SourceError(AgingError):
    """A source of readings that cannot be read."""


class LedgerError(AgingError):
    """The store could not do what was asked; nothing was half-written."""


class EmptyStoreError(LedgerError):
    """A database without tables: not a store yet."""


class AccessError(AgingError):
    """Who asks is not known, not proved, or may not do this."""


class ModelError(AgingError):
    """The data cannot carry the model."""


def require(ok: bool, what: str, seen: object, allowed: Iterable[object] | str) -> None:
    """Raise CallError unless `ok`, saying what was seen and what is allowed."""
    if not ok:
        text = allowed if isinstance(allowed, str) else ", ".join(map(str, allowed))
        raise CallError(f"{what}: {seen!r} is not allowed; allowed: {text}")
