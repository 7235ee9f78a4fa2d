"""What a database driver complains about, in words that a person can act on."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Engine
from sqlalchemy.exc import SQLAlchemyError

from aging.errors import LedgerError

BUSY = "another program is writing to it; wait a moment and try again"
READ_ONLY = "it is read-only for you; ask for the right to write, or work on a copy"
FULL = "the disk is full; free some space and try again"
_WORDS = {
    "SQLITE_BUSY": BUSY,
    "SQLITE_LOCKED": BUSY,
    "SQLITE_READONLY": READ_ONLY,
    "SQLITE_PERM": READ_ONLY,
    "SQLITE_FULL": FULL,
    "SQLITE_NOTADB": "this file is not a store of readings; check the path",
    "SQLITE_CANTOPEN": "the file cannot be opened; check that it exists and that you may read it"
    " and write to its folder",
    "SQLITE_CORRUPT": "the file is damaged; go back to a copy, or load an exported folder",
    "SQLITE_IOERR": "the disk could not be read or written; check the drive and its connection",
    "55P03": BUSY,
    "40": BUSY,
    "25006": READ_ONLY,
    "42501": READ_ONLY,
    "53100": FULL,
    "57P": "the server ended the connection; wait a moment and try again",
    "53300": "the server has no free connection; wait a moment and try again",
    "22021": "a text holds a character that the server cannot store (a NUL, say); take it out",
    "28": "the server refuses this user or password; check both",
    "3D000": "the server has no such database; create it first or check its name",
}
_LOST = "the server cannot be reached or refuses you; check host, port, database, user and password"
_OTHER = "it refused the request"


def explain(error: BaseException) -> str:
    """Plain words for an error of a driver, with the driver's own first line."""
    cause = getattr(error, "orig", None) or error
    code = getattr(cause, "sqlite_errorname", None) or getattr(cause, "sqlstate", None) or ""
    lost = not code and type(cause).__name__ == "OperationalError"
    words = next((text for start, text in _WORDS.items() if code.startswith(start)), None)
    said = str(cause).strip().partition("\n")[0]
    return f"{words or (_LOST if lost else _OTHER)} ({said})"


@contextmanager
def plain_errors(engine: Engine, label: str, *, outcome: str = "") -> Iterator[None]:
    """Turn every error of SQLAlchemy or of the driver into a LedgerError that ends in `outcome`."""
    try:
        yield
    except (SQLAlchemyError, engine.dialect.loaded_dbapi.Error) as error:
        raise LedgerError(f"store {label}: {explain(error)}{outcome}") from error
