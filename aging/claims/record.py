"""Claims as records of a store: made on one revision of it, never edited, only ended."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import pandas as pd

from aging.claims.gates import Gate
from aging.claims.proposal import CONFIDENCE, Proposal
from aging.claims.words import examine
from aging.errors import CallError, LedgerError, require
from aging.ledger import Ledger
from aging.ledger.batches import now, said
from aging.records import Exposure, exposure_with

SEPARATOR = "; "
Row = dict[str, Any]


@dataclass(frozen=True)
class Claim:
    """One claim, as the sheet `claims` holds it; a criterion's has no value (nan)."""

    claim: str
    formulation: str
    property: str
    criterion: str
    months: float
    sites: tuple[str, ...]
    value: float
    estimate: float
    confidence: float
    basis: str
    rating: str
    wording: str
    evidence_revision: int
    evidence_digest: str
    made_by: str
    made_at: str


def make(
    ledger: Ledger,
    proposal: Proposal,
    gates: Sequence[Gate],
    wording: str,
    *,
    revision: int,
    by: str,
    rating: str = "",
    criterion: str = "",
    replaces: str = "",
    reason: str = "",
) -> Claim:
    """Record a claim on what the store held at a revision, and return it.

    Gates that fail refuse it, but for the basis "internal", and so do words to avoid. criterion: of
    `criteria.named`, where the claim is that it is met. replaces: a standing claim that this one
    takes the place of, with the reason. CallError where something is missing; LedgerError where the
    store was altered.
    """
    failing = [gate for gate in gates if not gate.met]
    if failing and proposal.basis != "internal":
        what = "; ".join(
            f"{one.gate}: {one.seen}, needed {one.needed}, {one.how}" for one in failing
        )
        raise CallError(f"{proposal.formulation}: cannot be claimed as {proposal.basis}: {what}")
    if not criterion and pd.isna(proposal.value):
        raise CallError(f"{proposal.formulation}: there is no value to claim; see its notes")
    wording, by = said("wording", wording), said("by", by)
    for hit in examine(wording):
        raise CallError(f"wording: {hit.found!r}: {hit.reason}; write {hit.safer}")
    if replaces:
        _require_standing(ledger, replaces)
        reason = said("reason", reason)
    verdict = ledger.verify()
    if not verdict.whole:
        raise LedgerError(f"{ledger.label}: was altered (aging verify); no claim is made on it")
    require(revision in verdict.digests, "revision", revision, "one that the store has")
    at = now()
    seed = f"{proposal.formulation}\n{proposal.property}\n{criterion}\n{wording}\n{by}\n{at}"
    claim = Claim(
        hashlib.sha256(seed.encode()).hexdigest()[:8], proposal.formulation, proposal.property,
        criterion, proposal.months, proposal.sites,
        float("nan") if criterion else proposal.value, proposal.estimate, CONFIDENCE,
        proposal.basis, rating.strip(), wording, revision, verdict.digests[revision], by, at,
    )  # fmt: skip
    ends = [_end(replaces, by, reason, replaced_by=claim.claim)] if replaces else []
    _store(ledger, by, claims=[_row(claim)], claim_ends=ends)
    return claim


def withdraw(ledger: Ledger, claim: str, *, reason: str, by: str) -> None:
    """End a standing claim without another in its place; CallError for one that does not stand."""
    reason, by = said("reason", reason), said("by", by)
    _require_standing(ledger, claim)
    _store(ledger, by, claim_ends=[_end(claim, by, reason)])


def claims(exposure: Exposure) -> tuple[Claim, ...]:
    """Every claim ever made, ended ones too, in the order in which they were made."""
    rows = exposure.claims.drop(columns="extra").sort_values("made_at", kind="stable")
    return tuple(_claim(row) for row in rows.to_dict("records"))


def standing(exposure: Exposure) -> tuple[Claim, ...]:
    """Claims that were neither withdrawn nor replaced."""
    ended = set(exposure.claim_ends["claim"])
    return tuple(one for one in claims(exposure) if one.claim not in ended)


def _require_standing(ledger: Ledger, claim: str) -> None:
    known = standing(ledger.read(only=("claims", "claim_ends")))
    require(claim in {one.claim for one in known}, "claim", claim,
            [one.claim for one in known] or "none stands")  # fmt: skip


def _store(
    ledger: Ledger, by: str, *, claims: Sequence[Row] = (), claim_ends: Sequence[Row] = ()
) -> None:
    """Store rows of both sheets together or not at all."""
    ends = exposure_with("claim_ends", claim_ends).claim_ends
    ledger.append(replace(exposure_with("claims", claims), claim_ends=ends), by=by, source="claim")


def _end(claim: str, by: str, reason: str, *, replaced_by: str | None = None) -> Row:
    kind = "withdrawn" if replaced_by is None else "replaced"
    return {"claim": claim, "kind": kind, "replaced_by": replaced_by, "reason": reason,
            "ended_by": by, "ended_at": now()}  # fmt: skip


def _row(claim: Claim) -> Row:
    filled = {name: None if cell == "" else cell for name, cell in asdict(claim).items()}
    return filled | {"sites": SEPARATOR.join(claim.sites)}


def _claim(row: dict[Any, Any]) -> Claim:
    known = {name: "" if isinstance(cell, float) and pd.isna(cell) and name in
             ("criterion", "rating") else cell for name, cell in row.items()}  # fmt: skip
    return Claim(**{
        **known, "sites": tuple(row["sites"].split(SEPARATOR)),
        "evidence_revision": int(row["evidence_revision"]),
    })  # fmt: skip
