"""From where the dashboard may be reached: this machine, or a network whose people are known."""

from __future__ import annotations

import ipaddress
import socket
from io import StringIO

from aging.errors import AccessError, CallError

EVERY, HERE = "0.0.0.0", "127.0.0.1"  # noqa: S104 - only where people prove who they are
_OUTSIDE = ("192.0.2.1", 9)  # RFC 5737: an address for documents; nothing is sent to it
_FIRST = (
    "name its people first: aging people {store} YOUR_NAME --add --role keeper --passcode; then one"
    " line for each further person"
)


def is_local(address: str) -> bool:
    """Whether only this machine reaches an address; CallError for what is none."""
    if address == "localhost":
        return True
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        raise CallError(
            f"--address: {address!r} is no address; allowed: {HERE} (this machine), {EVERY} (every"
            " network it is in), or one of its own addresses"
        ) from None


def require_people(source: str | None, address: str) -> None:
    """AccessError where a network would reach a source that asks nobody who they are."""
    from aging import access
    from aging.ledger import open_ledger
    from aging.source import is_store
    from dashboard.entry import provider

    if is_local(address):
        return
    reason = f"--address {address} would let everyone on the network in: "
    if source is None or not is_store(source):
        raise AccessError(
            f"{reason}{source or 'no source'} knows no people; load it into a store (aging load"
            f" FOLDER --store STORE), and {_FIRST.format(store='STORE')}"
        )
    with open_ledger(source) as book:
        known = access.people(book).values()
        label = book.label
    proves = any(one.passcode or (one.sign_in and provider()) for one in known)
    if not known:
        raise AccessError(f"{reason}{label} knows no people; {_FIRST.format(store=label)}")
    if not proves:
        raise AccessError(
            f"{reason}nobody of {label} can prove who they are; give passcodes: aging people"
            f" {label} NAME --passcode; or name an identity provider (README, A team)"
        )


def own_address() -> str:
    """Address of this machine in its network; CallError where it is in none."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way:
            way.connect(_OUTSIDE)
            return str(way.getsockname()[0])
    except OSError:
        raise CallError("--phone: this machine is in no network; join it to the phone's") from None


def invitation(url: str) -> str:
    """What a person at the terminal needs to open the page on a phone."""
    import segno

    code = StringIO()
    segno.make(url, micro=False).terminal(code, border=2, compact=True)
    return (
        f"{code.getvalue()}\n{url}\n\nWho is in the same network opens it, with name and passcode."
        "\nThe network sees what passes unless a server with TLS stands before it: use your own."
        "\nCtrl+C ends it."
    )
