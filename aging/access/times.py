"""Moments as the store writes them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta


def now(ago: float = 0.0) -> str:
    """Moment some seconds ago in UTC, ISO 8601 text to the microsecond."""
    moment = datetime.now(UTC) - timedelta(seconds=ago)
    return moment.isoformat(timespec="microseconds")


def seconds_since(moment: str) -> float:
    """Seconds that passed since a moment."""
    return (datetime.now(UTC) - datetime.fromisoformat(moment)).total_seconds()
