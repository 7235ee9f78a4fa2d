"""Who may do what in a store, who did it, and how a person is known.

A store without people is open, as a file on one's own machine is. From the first keeper on every
page, command and export asks here. Whoever can write the file of an SQLite store, or has a database
account that may, is not held by this: only rights of the file or of the server are.
"""

from __future__ import annotations

from aging.access.acting import deeds, doing, permitted
from aging.access.passcodes import check_passcode
from aging.access.people import Person, add, allowed, change, end, people, require_may
from aging.access.permissions import PERMISSIONS, ROLES
from aging.access.sessions import Sessions
from aging.access.signing_in import sign_in, vouched

__all__ = [
    "PERMISSIONS", "ROLES", "Person", "Sessions", "add", "allowed", "change", "check_passcode",
    "deeds", "doing", "end", "people", "permitted", "require_may", "sign_in", "vouched",
]  # fmt: skip
