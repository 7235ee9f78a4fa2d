"""Evidence gates: what has to stand behind a claim of each basis, as data with a reason.

gates.csv names each gate with its limit, the bases it applies to, why, and where it comes from. A
gate that fails says what is missing and when it can be met, as the panels' exposure tells. What is
not recorded is not met.

A 36-month value counts as substantiated when it reaches no more than twice the months read and no
more than 12 months beyond them (ICH Q1E): from 24 months on. A statement on a share of all roofs
asks more than one on their mean: its bound lies one tolerance factor of the panels' spread away.
"""

from __future__ import annotations

from dataclasses import dataclass

from aging.claims import amount, soundness
from aging.claims.asked import GATES, LIMITS, Asked
from aging.claims.evidence import Evidence
from aging.errors import require
from aging.vocabulary import CLAIM_BASES

SHARE = "share of roofs"  # applies_to of the gate of a statement on a share of all roofs
RULES = amount.RULES | soundness.RULES


@dataclass(frozen=True)
class Gate:
    """One gate: what is seen, what is needed, and where it is not met when or how it can be."""

    gate: str
    met: bool
    seen: str
    needed: str
    how: str
    reason: str
    source: str


def assess(
    evidence: Evidence,
    formulation: str,
    basis: str,
    months: float = 36.0,
    *,
    rating: str = "",
    share: float | None = None,
) -> tuple[Gate, ...]:
    """The gates of a basis (`vocabulary.CLAIM_BASES`), in the order of gates.csv.

    rating: identifier and body of a rating. share: of all roofs that a statement speaks of, where
    it speaks of more than their mean, such as 0.95.
    """
    require(basis in CLAIM_BASES, "basis", basis, CLAIM_BASES)
    require(share is None or 0 < share < 1, "share", share, "between 0 and 1, such as 0.95")
    wanted = {basis} | ({SHARE} if share is not None else set())
    found = []
    for name, row in GATES.iterrows():
        if wanted.isdisjoint(row["applies_to"].split("; ")):
            continue
        limit = LIMITS[str(name)]
        asked = Asked(evidence, formulation, basis, months, rating, share or 0.0, limit)
        met, seen, needed, how = RULES[str(name)](asked)
        found.append(
            Gate(str(name), met, seen, needed, "" if met else how, row["reason"], row["source"])
        )
    return tuple(found)
