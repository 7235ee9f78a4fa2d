"""Words of signing in and out."""

from __future__ import annotations

TITLE = "Who are you?"
NAME, PASSCODE, SIGN_IN = "Name", "Passcode", "Sign in"
PROVIDER = "Sign in with your organisation"
UNKNOWN = "Your organisation knows you, but this store does not yet: a keeper adds you."
ENDED = "Your session has ended: sign in again. What was saved is kept."
HELP = "A keeper of this store gives you a name and a passcode. A session ends after an hour idle."
CANNOT_ASK = "The store cannot be asked who may come in. Try again in a moment."
NOT_FOR_YOU = "This page is not for your roles; a keeper of the store changes them."
OPEN_TO_ALL = """Nobody signs in here: all who reach this store may do everything in it.
The command "aging people" names its first keeper; from then on it asks who is there."""
ME, SIGN_OUT, ROLES_MAY = "You", "Sign out", "With your roles you may"
NEW, AGAIN, CHANGE = "New passcode", "Once more", "Change passcode"
DEED_COLUMNS = {"deed": "What", "reason": "Why it is so"}
DEEDS = {
    "see": "see results", "log": "log readings", "settle": "settle doubts",
    "claim": "make and end claims", "take out": "take tables out", "back up": "back the store up",
    "deeds": "see who did what", "people": "say who may do what",
}  # fmt: skip
STAYS = """<style>[data-testid="stElementToolbar"] button:is([aria-label^="Download"],
[aria-label^="Copy"]) {display: none}</style>"""
COOKIE = '<script>fetch("/entry/{ticket}", {{method: "POST"}})</script>'


def person(name: str, roles: list[str]) -> str:
    """Who is signed in."""
    return f"{name}: {', '.join(roles)}"
