"""What may be said of a formulation, on which evidence, and whether it still holds.

>>> from aging.claims import assess, evidence_of, propose
>>> known = evidence_of("exposure.sqlite")  # doctest: +SKIP
>>> propose(known, "S8H30", "projected").value  # doctest: +SKIP
>>> [one.gate for one in assess(known, "S8H30", "projected") if not one.met]  # doctest: +SKIP

A claim is made on a store, is never edited, and is evaluated again on every visit.
"""

from __future__ import annotations

from aging.claims.asked import GATES
from aging.claims.criteria import verdicts
from aging.claims.dossiers import Dossier, dossier, evidence_pack
from aging.claims.dossiers import as_html as dossier_html
from aging.claims.dossiers import as_pdf as dossier_pdf
from aging.claims.evidence import Evidence, coverage_of, evidence_of
from aging.claims.gates import Gate, assess
from aging.claims.lines import watch_line
from aging.claims.proposal import Proposal, floored, propose
from aging.claims.record import Claim, claims, make, standing, withdraw
from aging.claims.turning import Turn, turning_visit
from aging.claims.watch import Watched, card, report_card, watch
from aging.claims.words import Hit, examine, sentences

__all__ = [
    "GATES", "Claim", "Dossier", "Evidence", "Gate", "Hit", "Proposal", "Turn", "Watched", "assess",
    "card", "claims", "coverage_of", "dossier", "dossier_html", "dossier_pdf", "evidence_of",
    "evidence_pack", "examine", "floored", "make", "propose", "report_card", "sentences",
    "standing", "turning_visit", "verdicts", "watch", "watch_line", "withdraw",
]  # fmt: skip
