"""Passcodes: kept as argon2id digests only (RFC 9106, second recommended option of argon2-cffi).

Length is what counts (NIST SP 800-63B: at least 8 characters, no rules of composition).
"""

from __future__ import annotations

from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from aging.errors import CallError

SHORTEST, LONGEST = 8, 128


def check_passcode(passcode: str, name: str) -> None:
    """Raise CallError for a passcode that is too short, too long or the name itself."""
    if not SHORTEST <= len(passcode) <= LONGEST:
        raise CallError(
            f"passcode: {len(passcode)} characters; allowed: {SHORTEST} to {LONGEST}; several words"
            " are easy to remember"
        )
    if passcode.casefold() == name.casefold():
        raise CallError("passcode: it is the name; allowed: anything else; take several words")


def digest(passcode: str) -> str:
    """Salted digest of a passcode."""
    return _hasher().hash(passcode)


def fits(passcode: str, kept: str | None) -> bool:
    """Whether a passcode is the one kept, in constant time; as slow where none is kept."""
    try:
        _hasher().verify(kept or _nobody(), passcode[: LONGEST + 1])
    except (VerificationError, InvalidHashError):
        return False
    return kept is not None


@cache
def _hasher() -> PasswordHasher:
    return PasswordHasher()


@cache
def _nobody() -> str:
    return digest("no one has this passcode")
