"""Spots of a reading: what was typed, their mean and spread, where to read, when to stop.

    SEM = s / sqrt(n)    standard error of the mean; s: sample standard deviation of n spots

Spots on a patch are random and do not overlap; they are read until the SEM is at most ENOUGH_SEM
(common practice, no source). A spread of few spots is small by chance, so that a rule which stops
at the third stops too soon: with s of 0.02 the mean then really scatters by 0.0074, from the fifth
on by 0.0059 (4000 simulated patches).
"""

from __future__ import annotations

import math
import re
import statistics
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aging.errors import CallError, require

ENOUGH_SEM, FEWEST = 0.005, 5
APART_M, MARGIN_M = 0.10, 0.15  # of a port of 25 mm read with its collar; borders differ: assumed
TRIES = 2_000
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")
_BETWEEN = re.compile(r",(?=\s)|[\s;]+")


@dataclass(frozen=True)
class Spots:
    """Values of spots in the order read, in the property's unit, and what they say together."""

    each: tuple[float, ...]

    @property
    def mean(self) -> float:
        """Arithmetic mean, of 12 digits, so that 0.7 and 0.72 make 0.71."""
        return float(f"{statistics.fmean(self.each):.12g}")

    @property
    def sd(self) -> float | None:
        """Sample standard deviation; None for one spot."""
        return float(f"{statistics.stdev(self.each):.6g}") if len(self.each) > 1 else None

    @property
    def sem(self) -> float | None:
        """Standard error of the mean; None for one spot."""
        return None if self.sd is None else self.sd / math.sqrt(len(self.each))

    @property
    def range(self) -> float:
        """Highest less lowest."""
        return max(self.each) - min(self.each)

    @property
    def still_to_read(self) -> int:
        """How many more a patch asks for by now, 0 where its mean is known well enough."""
        lacking = max(FEWEST - len(self.each), 0)
        if self.sd is None or (self.sem or 0) <= ENOUGH_SEM:
            return lacking
        return max(math.ceil((self.sd / ENOUGH_SEM) ** 2) - len(self.each), lacking, 1)


def typed(text: str) -> tuple[float, ...]:
    """Numbers out of text, parted by blanks or semicolons, with decimal comma or point.

    CallError names every word that is no number.
    """
    words = [word for word in _BETWEEN.split(text) if word]
    odd = [word for word in words if not _NUMBER.fullmatch(word)]
    if odd:
        raise CallError(
            f"{', '.join(odd)}: no number; allowed: numbers like 0.812 or 0,812 with blanks between"
        )
    return tuple(float(word.replace(",", ".")) for word in words)


def random_spots(
    count: int, width_m: float, length_m: float, *, seed: str,
    apart_m: float = APART_M, margin_m: float = MARGIN_M,
) -> NDArray[np.float64]:  # fmt: skip
    """Centres of random spots on a patch, shape (count, 2): metres along width and length.

    They lie at least `apart_m` from each other and `margin_m` from the border. The same seed gives
    the same spots, and more of them the same first ones. CallError where they find no room.
    """
    require(count > 0, "count", count, "1 or more spots")
    inner = np.array([width_m, length_m], dtype=float) - 2 * margin_m
    require(
        bool((inner > 0).all()), "patch", (width_m, length_m), f"sides above {2 * margin_m:g} m"
    )
    rng = np.random.default_rng(list(seed.encode()))
    found = np.empty((0, 2))
    for _ in range(TRIES * count):
        spot = margin_m + rng.random(2) * inner
        if (np.hypot(*(found - spot).T) >= apart_m).all():
            found = np.vstack([found, spot])
            if len(found) == count:
                return found
    raise CallError(f"count: {count} spots find no room there, {len(found)} do; read fewer")
