"""How the fit of one series ended: a fact with a name, never a bare NaN."""

from __future__ import annotations

from enum import IntEnum


class Outcome(IntEnum):
    """Outcome of one series; arrays hold the code, `label` is the wording for people."""

    FITTED = 0
    RATE_AT_LOWER_BOUND = 1
    RATE_AT_UPPER_BOUND = 2
    NO_CHANGE = 3
    TOO_FEW_READINGS = 4
    NO_TIME_SPREAD = 5

    @property
    def label(self) -> str:
        """The outcome in words, such as "rate at lower bound"."""
        return self.name.lower().replace("_", " ")

    @property
    def usable(self) -> bool:
        """Whether the series has a fitted path (its parameters are numbers)."""
        return self <= Outcome.NO_CHANGE


class IntervalOutcome(IntEnum):
    """Which ends of an interval are finite; an open end means the data set no limit there."""

    CLOSED = 0
    OPEN_BELOW = 1
    OPEN_ABOVE = 2
    OPEN_BOTH_WAYS = 3
    NO_INTERVAL = 4

    @property
    def label(self) -> str:
        """The outcome in words, such as "open above"."""
        return self.name.lower().replace("_", " ")
