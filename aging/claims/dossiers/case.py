"""What a dossier is made of: a claim, and the evidence as the store held it when it was made."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import pandas as pd

from aging.claims.amount import laboratory
from aging.claims.evidence import SECONDS_PER_DAY, Evidence, Progress, evidence_at
from aging.claims.gates import Gate, assess
from aging.claims.proposal import RETENTION, Proposal, first_read, measured, propose
from aging.claims.record import Claim
from aging.comparison.differences import differences
from aging.cube import moments
from aging.errors import LedgerError, ModelError
from aging.fieldwork.story import COUNTS, LEFT_OUT, OWN_SERIES, REPLACED, Kept, ever_read, standings
from aging.ledger import Ledger
from aging.records import Exposure
from aging.vocabulary import DAYS_PER_MONTH, Property

BESIDE = {  # what is calculated from readings of other properties needs them
    "solar_reflectance": ("thermal_emittance",),
    "yellowness_index": ("lightness", "a_star", "b_star"),
}


@dataclass(frozen=True)
class Case:
    """A claim with its evidence at the claim's sites, the value and gates made again from it.

    gates: of a claim for internal use, which asks none, those that it would need to be "projected".
    known: corrections and decisions as the store knew them then.
    """

    claim: Claim
    evidence: Evidence
    proposal: Proposal
    gates: tuple[Gate, ...]
    known: Kept

    @property
    def exposure(self) -> Exposure:
        """The facts as they stood."""
        return self.evidence.fit.exposure

    @property
    def prop(self) -> Property:
        """The property that the claim tells."""
        return self.evidence.fit.measured

    @property
    def retention(self) -> bool:
        """Whether the claim tells a share of the initial value."""
        return RETENTION in self.claim.property

    @cached_property
    def compared(self) -> pd.DataFrame:
        """Differences of the claimed formulation to its controls (`comparison.COLUMNS`)."""
        try:
            frame = differences(self.evidence.fit, self.claim.months).frame
        except ModelError:  # no control hangs beside any formulation
            return pd.DataFrame(columns=["formulation", "against"])
        return frame[(frame["formulation"] == self.claim.formulation)
                     & (frame["target"] == "reading")]  # fmt: skip

    @cached_property
    def panels(self) -> pd.DataFrame:
        """Panels of the claimed formulation at the claim's sites, without file specimens."""
        rows = self.exposure.panels
        own = (rows["formulation"] == self.claim.formulation) & (rows["kind"] != "file_specimen")
        return rows[own & rows["site"].isin(self.claim.sites)].sort_values(["site", "panel"])

    @cached_property
    def readings(self) -> pd.DataFrame:
        """Every reading of what was fitted, and of what is calculated with it, superseded ones too.

        Columns of the sheets readings and panels, months exposed, standing and why (as in
        `fieldwork.story`), and rests_on_it: whether the claimed value is made from it.
        """
        exposure = self.exposure
        panels = exposure.panels[["panel", "formulation", "site", "exposed_on", "kind"]]
        rows = ever_read(exposure, self.known)
        name = self.evidence.fit.gathered.property.name
        rows = rows[rows["property"].isin({name, *BESIDE.get(name, ())})].merge(panels, on="panel")
        why = pd.concat([standings(exposure, site) for site in sorted(rows["site"].unique())])
        rows["why"] = rows["reading_id"].map(why.to_dict())
        last = exposure.settlements.drop_duplicates("finding", keep="last")
        out = last[last["decision"] == "excluded"].dropna(subset="reading_id")
        said = rows["reading_id"].map(dict(zip(out["reading_id"], out["reason"], strict=True)))
        rows["why"] = rows["why"].mask(said.notna(), "excluded: " + said.astype("str"))
        heirs = rows.dropna(subset="supersedes").drop_duplicates("supersedes", keep="last")
        told = (
            "to " + heirs["reading_id"] + ": " + heirs["reason"].astype("str").fillna("no reason")
        )
        heir = rows["reading_id"].map(dict(zip(heirs["supersedes"], told, strict=True)))
        rows["why"] = rows["why"].mask(heir.notna(), "corrected " + heir.astype("str"))
        state = pd.Series(COUNTS, index=rows.index).mask(rows["why"] != "", LEFT_OUT)
        washed = (rows["why"] == "") & (rows["surface_state"] != "as_exposed")
        series = rows["surface_state"].map(OWN_SERIES)
        rows["standing"] = state.mask(washed, series).mask(heir.notna(), REPLACED)
        rows["at"] = moments(rows["read_on"])
        exposed = rows["at"] - moments(rows["exposed_on"])
        rows["months"] = exposed.dt.total_seconds() / SECONDS_PER_DAY / DAYS_PER_MONTH
        rows["rests_on_it"] = self._rests_on(rows)
        order = ["site", "formulation", "panel", "property", "read_on", "surface_state"]
        return rows.sort_values([*order, "reading_id"], ignore_index=True)

    def _rests_on(self, rows: pd.DataFrame) -> pd.Series:
        basis, own = self.claim.basis, self.claim.formulation
        if basis == "rated":
            return pd.Series(data=False, index=rows.index)
        if basis == "laboratory-aged":
            return rows["reading_id"].isin(laboratory(self.evidence, own)["reading_id"])
        used = self.evidence.of(own)
        if basis == "measured":
            used = measured(self.evidence, own, self.claim.months, retention=self.retention)
            if self.retention:
                used = pd.concat([used, first_read(self.evidence, own)])
        elif basis == "default formula":
            used = first_read(self.evidence, own)
        name = self.evidence.fit.gathered.property.name
        counts = (rows["standing"] == COUNTS) & (rows["property"] == name)
        keys = pd.MultiIndex.from_frame(used[["panel", "at"]])
        return counts & pd.MultiIndex.from_frame(rows[["panel", "at"]]).isin(keys)


def case(book: Ledger, claim: Claim, on_progress: Progress | None = None) -> Case:
    """Gather what a store held at the claim's revision; LedgerError where it lacks a site."""
    revision, name = claim.evidence_revision, claim.property.removesuffix(RETENTION)
    found = evidence_at(book, revision, name, on_progress=on_progress)
    series = tuple(one for one in found.fit.series if one.site in claim.sites)
    found = replace(found, fit=replace(found.fit, series=series))
    lacking = sorted(set(claim.sites) - set(found.sites(claim.formulation)))
    if lacking:
        raise LedgerError(
            f"claim {claim.claim}: revision {revision} has no readings of {claim.formulation} at "
            f"{', '.join(lacking)}"
        )
    proposal = propose(
        found, claim.formulation, claim.basis, claim.months, retention=RETENTION in claim.property,
        rated=claim.value if claim.basis == "rated" else None,
    )  # fmt: skip
    basis = "projected" if claim.basis == "internal" else claim.basis
    gates = assess(found, claim.formulation, basis, claim.months, rating=claim.rating)
    known = Kept(book.history(as_of_revision=revision), book.recorded("settlements", revision))
    return Case(claim, found, proposal, gates, known)


def figure(value: float, prop: Property, *, retention: bool = False, more: int = 1) -> str:
    """A value as a person reads it, `more` digits finer than the claimed one; "-" where none is."""
    if pd.isna(value):
        return "-"
    digits = 2 if retention else min(prop.decimals, 2)
    return f"{value:.{digits if prop.step >= 1 and not retention else digits + more}f}"
