"""Make a claim's dossier from the store, as of the revision that the claim names.

The store is verified first, and its digest at that revision compared with the one the claim keeps:
where either does not fit, no dossier is made, and the error says what was altered and where.
Own limits of the checks lie beside a store and not in it, so that a dossier takes the shipped ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pandas as pd
import xarray as xr

from aging import __version__
from aging.claims.dossiers import believed, judged, told
from aging.claims.dossiers.case import Case, case, figure
from aging.claims.dossiers.drawn import Fan, fan
from aging.claims.evidence import Progress
from aging.claims.gates import Gate
from aging.claims.proposal import Proposal
from aging.claims.record import Claim, claims
from aging.claims.words import CAUTIONS
from aging.comparison.export import joint_draws
from aging.errors import LedgerError, require
from aging.fieldwork.report import Section
from aging.ledger import Verdict, open_ledger
from aging.source import is_store

MOST_BREAKS = 5
MEANINGS = {
    "measured": "read on exposed panels at that age",
    "substantiated": "a projection that reaches at most twice the months read and 12 beyond them",
    "projected": "a projection from a year of readings or more",
    "internal": "a projection for use inside; the evidence for use outside is not complete",
    "laboratory-aged": "read after soiling in the laboratory, not outdoors",
    "default formula": "what a code assumes of an unrated product, neither measured nor projected",
    "rated": "issued by a body that rates; our readings stand beside it",
}


@dataclass(frozen=True)
class Dossier:
    """All that a claim rests on, worded for a reader, and what its evidence pack holds.

    facts: name and value, about the claim; evidence: the same, of its fingerprint. readings: as
    `Case.readings`. draws: the joint draws at the claimed month, of the claimed formulation and its
    controls.
    """

    claim: Claim
    title: str
    facts: tuple[tuple[str, str], ...]
    evidence: tuple[tuple[str, str], ...]
    fan: Fan
    sections: tuple[Section, ...]
    proposal: Proposal
    gates: tuple[Gate, ...]
    readings: pd.DataFrame
    priors: pd.DataFrame
    courses: pd.DataFrame
    draws: xr.Dataset
    version: str = __version__
    cautions: tuple[str, ...] = CAUTIONS


def dossier(store: str, claim: str, *, on_progress: Progress | None = None) -> Dossier:
    """The dossier of a recorded claim, by its id or the digest of the evidence it rests on.

    CallError for a claim that the store does not have, and for a digest that several rest on;
    LedgerError where the store was altered.
    """
    require(is_store(store), "STORE", str(store), "a store, which alone keeps claims")
    with open_ledger(store) as book:
        verdict = book.verify()
        _refuse_altered(book.label, verdict)
        found = _named(claims(book.read(only=("claims",))), claim)
        _refuse_other(book.label, verdict, found)
        known = case(book, found, on_progress)
    label = known.prop.label
    name = f"{label[0].lower()}{label[1:]}{' retention' * known.retention}"
    compared = known.compared["against"].unique()
    draws = joint_draws(known.evidence.fit, [found.months], retention=known.retention)
    sections = (*judged.sections(known), *told.sections(known), *believed.sections(known))
    title = f"Claim {found.claim}: {found.formulation}, {name} at {found.months:g} months"
    return Dossier(
        found, title, tuple(_facts(known)), tuple(_evidence(found)), fan(known), sections,
        known.proposal, known.gates, known.readings, known.evidence.fit.gathered.prior_table(),
        believed.weights(known), draws.sel(formulation=[found.formulation, *sorted(compared)]),
    )  # fmt: skip


def _named(every: Sequence[Claim], wanted: str) -> Claim:
    mine = [one for one in every if wanted in (one.claim, one.evidence_digest)]
    ids = [one.claim for one in every]
    require(bool(mine), "claim", wanted, ids or "none is recorded: aging claim --make")
    allowed = f"one claim by its id, of those that rest on it: {', '.join(o.claim for o in mine)}"
    require(len(mine) == 1, "fingerprint", wanted, allowed)
    return mine[0]


def _refuse_altered(label: str, verdict: Verdict) -> None:
    if verdict.whole:
        return
    what = [
        f"batch {one.batch} (recorded {one.recorded_at or 'at an unknown time'} by "
        f"{one.recorded_by or 'nobody known'} from {one.source or 'nowhere known'}): {one.what}"
        for one in verdict.breaks[:MOST_BREAKS]
    ]
    more = len(verdict.breaks) - len(what)
    what += [f"{more} more batches"] * bool(more)
    what += [f"table {name} is open to changes" for name in verdict.unguarded]
    what += [f"photo {name} is gone or altered" for name in verdict.altered_photos]
    what += verdict.altered_logs
    raise LedgerError(
        f"store {label} was altered, and no dossier is made of it: {'; '.join(what)}; "
        "restore a backup that aging verify finds whole"
    )


def _refuse_other(label: str, verdict: Verdict, claim: Claim) -> None:
    now = verdict.digests.get(claim.evidence_revision, "")
    if now != claim.evidence_digest:
        raise LedgerError(
            f"store {label} is not what claim {claim.claim} rests on, and no dossier is made of "
            f"it: at revision {claim.evidence_revision} the digest is {now or 'missing'}, where "
            f"the claim names {claim.evidence_digest}; it was sealed anew, or is another store"
        )


def _facts(known: Case) -> Iterator[tuple[str, str]]:
    claim = known.claim
    if claim.criterion:
        yield "Criterion claimed", claim.criterion
    else:
        unit = (
            "" if known.retention or known.prop.unit in {"fraction", "1"} else f" {known.prop.unit}"
        )
        yield "Claimed value", figure(
            claim.value, known.prop, retention=known.retention, more=0) + unit  # fmt: skip
    yield "Basis", f"{claim.basis}: {MEANINGS[claim.basis]}"
    if claim.rating:
        yield "Rating", claim.rating
    yield "Months of exposure", f"{claim.months:g}"
    yield "Sites", ", ".join(claim.sites)
    if claim.basis not in ("rated", "default formula"):
        yield "One-sided confidence", f"{100 * claim.confidence:g} %"
    yield "Months read at the site read least", f"{known.proposal.observed:.1f}"
    yield "Made by", claim.made_by
    yield "Made at", claim.made_at


def _evidence(claim: Claim) -> Iterator[tuple[str, str]]:
    yield "Revision", str(claim.evidence_revision)
    yield "Digest", claim.evidence_digest
    yield "Made by the software", f"aging {__version__}"
