"""What the pages of claims know, kept by the source's mark, and how a claim is recorded and ended.

A claim is recorded on the revision that its page was drawn from. The same claim, tapped twice, is
one: a standing one with the same words and facts is handed back.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from math import ceil, isnan, nan
from threading import Lock

import pandas as pd
import streamlit as st

from aging.claims import (
    Claim,
    Evidence,
    Gate,
    Proposal,
    Turn,
    Watched,
    assess,
    coverage_of,
    dossier,
    dossier_html,
    dossier_pdf,
    evidence_pack,
    make,
    propose,
    sentences,
    standing,
    turning_visit,
    verdicts,
    watch,
)
from aging.claims import claims as ever_made
from aging.claims import withdraw as end
from aging.claims.criteria import named, sentence
from aging.claims.proposal import RETENTION
from aging.errors import AgingError, ModelError
from aging.ledger import open_ledger
from aging.vocabulary import property_named
from dashboard import claim_words as wording
from dashboard import data, entry, keeping, past, tables

BY_SOURCE = {data.Opened: data.key_of}
OUTSIDE = ("measured", "substantiated", "projected")  # the strongest first
LEVEL = 0.90  # the lower end of its interval is the one-sided 95 % bound
ONE_AT_A_TIME = Lock()


@dataclass(frozen=True)
class Case:
    """What may be said of a formulation now, on a basis.

    sentences: none while a gate is missing. lacking: by stronger basis, its gates that are not met.
    criteria: of `claims.verdicts`, None where the property is not judged by them.
    """

    proposal: Proposal
    gates: tuple[Gate, ...]
    sentences: tuple[str, ...]
    lacking: Mapping[str, tuple[Gate, ...]]
    criteria: pd.DataFrame | None
    rating: str
    revision: int

    @property
    def open(self) -> bool:
        """Whether it may be recorded."""
        return all(one.met for one in self.gates) and not isnan(self.proposal.value)

    def of_criterion(self, name: str) -> tuple[str, ...]:
        """What may be said of a criterion that is met."""
        if self.criteria is None:
            return ()
        row = self.criteria[self.criteria.apply(named, axis=1) == name]
        if row.empty or row["verdict"].iloc[0] != "met":
            return ()
        one = self.proposal
        return (sentence(row.iloc[0], one.formulation, one.months, len(one.sites)),)

    def met(self) -> list[str]:
        """Names of criteria that are met."""
        if self.criteria is None:
            return []
        return self.criteria[self.criteria["verdict"] == "met"].apply(named, axis=1).tolist()


def parts_of(name: str) -> tuple[str, bool]:
    """The property of a claim, and whether its retention is claimed."""
    return name.removesuffix(RETENTION), name.endswith(RETENTION)


@st.cache_resource(show_spinner=wording.WATCHING, max_entries=4, hash_funcs=BY_SOURCE)
def watched(opened: data.Opened) -> tuple[Watched, ...]:
    """Every claim, ended ones too, as the readings tell it now."""
    names = {property_named(parts_of(one.property)[0]) for one in ever_made(opened.exposure)}
    fits = {}
    for name in {one.read_as for one in names}:
        with suppress(AgingError):  # the claims on it then cannot be told
            fits[name] = data.fitted(opened, name)
    return watch(opened.exposure, fits=fits, ended=True)


def turned(opened: data.Opened, one: Watched) -> Turn | None:
    """The visit that put a claim in trouble.

    None without trouble, where a reading decided, or where it would take long to work out.
    """
    name, retention = parts_of(one.claim.property)
    if one.state not in ("at risk", "broken") or retention or not isnan(one.measured):
        return None
    claim, prop = one.claim, property_named(name)
    with open_ledger(opened.source) as book:
        known = set(book.recorded("readings", claim.evidence_revision)["reading_id"])
    rows = opened.exposure.readings.merge(opened.exposure.panels[["panel", "site", "formulation"]])
    rows = rows[(rows["formulation"] == claim.formulation) & ~rows["reading_id"].isin(known)]
    new = set(zip(rows["site"], rows["read_on"].str[:10], strict=True))
    if not new:
        return None
    moved = past.moved(opened, name, (claim.months,), LEVEL, claim.formulation)
    better = -1 if prop.higher_is_better is False else 1
    return None if moved is None else turning_visit(moved, claim, new, better)


def ends(opened: data.Opened) -> dict[str, pd.Series]:
    """How each ended claim ended."""
    return {str(row["claim"]): row for _, row in opened.exposure.claim_ends.iterrows()}


def listed(opened: data.Opened) -> pd.DataFrame:
    """Every claim as `wording.CLAIM_COLUMNS`: trouble first, ended ones last."""
    over = ends(opened)
    rows = [wording.row(one, over.get(one.claim.claim)) for one in watched(opened)]
    return pd.DataFrame(rows).sort_values(["order", "fails"], ascending=[True, False])


@st.cache_resource(show_spinner=wording.WEIGHING, max_entries=4, hash_funcs=BY_SOURCE)
def _coverage(opened: data.Opened, name: str) -> pd.DataFrame | None:
    return coverage_of(data.fitted(opened, name))


@st.cache_resource(show_spinner=wording.WEIGHING, max_entries=8, hash_funcs=BY_SOURCE)
def evidence(opened: data.Opened, name: str) -> Evidence:
    """All that a claim on a property of a store may rest on; AgingError where there is no fit."""
    fit = data.fitted(opened, name)
    revision = opened.mark[0][1]
    with open_ledger(opened.source) as book:
        changes = book.recorded("formulations", revision)
    return Evidence(
        fit, keeping.checked(opened).open, changes, _coverage(opened, fit.gathered.property.name),
        revision,
    )  # fmt: skip


def strongest(opened: data.Opened, formulation: str, name: str, months: float) -> str:
    """The first basis for use outside whose gates are all met, else "internal"."""
    known = evidence(opened, parts_of(name)[0])
    for basis in OUTSIDE:
        if all(one.met for one in assess(known, formulation, basis, months)):
            return basis
    return "internal"


@st.cache_resource(show_spinner=wording.WEIGHING, max_entries=32, hash_funcs=BY_SOURCE)
def case(
    opened: data.Opened, formulation: str, name: str, months: float, basis: str,
    *, rated: float | None = None, rating: str = "",
) -> Case:  # fmt: skip
    """What the readings allow now; AgingError where they give no such value."""
    prop, retention = parts_of(name)
    known = evidence(opened, prop)
    try:
        proposal = propose(known, formulation, basis, months, retention=retention, rated=rated)
    except ModelError as error:  # its gates are still to be seen
        proposal = replace(
            propose(known, formulation, "internal", months, retention=retention), basis=basis,
            value=nan, bound=nan, estimate=nan, worst_site="", worst_value=nan, notes=(str(error),),
        )  # fmt: skip
    gates = assess(known, formulation, basis, months, rating=rating)
    stronger = OUTSIDE[: OUTSIDE.index(basis)] if basis in OUTSIDE else OUTSIDE
    lacking = {
        other: tuple(one for one in assess(known, formulation, other, months) if not one.met)
        for other in stronger
    }
    criteria = None
    if property_named(prop).read_as == "solar_reflectance" and not retention:
        criteria = verdicts(replace(known.fit, balance=None), formulation, months)
    told = sentences(proposal, rating=rating) if all(one.met for one in gates) else ()
    return Case(proposal, gates, told, lacking, criteria, rating, known.revision or 0)


@st.cache_resource(show_spinner=wording.WEIGHING, max_entries=32, hash_funcs=BY_SOURCE)
def fan(
    opened: data.Opened, formulation: str, name: str, months: float
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Projection of the mean over sites to a claim's month, and the readings behind it."""
    prop, retention = parts_of(name)
    fit = data.fitted(opened, prop)
    read = data.read(opened, prop)
    read = read[read["panel"].isin(data.fitted_panels(opened, prop, formulation))]
    read = tables.series(read, "all", formulation)
    if retention:
        new = read[read["months"] <= 1].sort_values("months").drop_duplicates("panel")
        initial = read["panel"].map(new.set_index("panel")["value"]).astype("float64")
        read = read.assign(value=read["value"] / initial).dropna(subset="value")
    own = replace(fit, series=tuple(one for one in fit.series if one.formulation == formulation))
    steps = sorted({*range(ceil(max(months, read["months"].max())) + 1), months})
    frame = own.project(steps, LEVEL, retention=retention).frame
    frame = frame[frame["site"] == "all"]
    middle = frame[frame["target"] == "reading"].set_index("months")["estimate"]
    frame = frame.assign(estimate=frame["months"].map(middle))  # one middle for chart and figures
    return frame, tables.marks(read, "all", None)


@st.cache_resource(show_spinner=wording.PREPARING, max_entries=4, hash_funcs=BY_SOURCE)
def papers(opened: data.Opened, claim: str) -> dict[str, bytes]:
    """The dossier of a claim by file ending; AgingError where none can be made."""
    told = dossier(opened.source, claim)
    return {"pdf": dossier_pdf(told), "html": dossier_html(told).encode(),
            "zip": evidence_pack(told)}  # fmt: skip


def record(
    opened: data.Opened, of: Case, words: str, *, by: str, criterion: str = "",
    replaces: str = "", reason: str = "",
) -> str:  # fmt: skip
    """Record a claim and return its id; that of the same one where it stands already."""
    deed = entry.doing(opened.source, "claim", of.proposal.formulation)
    with ONE_AT_A_TIME, deed as book:
        for one in standing(book.read(only=("claims", "claim_ends"))):
            if _same(one, of.proposal, words.strip(), criterion, of.rating):
                return one.claim
        return make(
            book, of.proposal, of.gates, words, revision=of.revision, by=by, rating=of.rating,
            criterion=criterion, replaces=replaces, reason=reason,
        ).claim  # fmt: skip


def _same(one: Claim, new: Proposal, words: str, criterion: str, rating: str) -> bool:
    if (one.criterion, one.wording, one.rating) != (criterion, words, rating.strip()):
        return False
    if not criterion and one.value != new.value:
        return False
    return all(
        getattr(one, name) == getattr(new, name)
        for name in ("formulation", "property", "months", "basis")
    )


def withdraw(opened: data.Opened, claim: str, *, reason: str, by: str) -> None:
    """End a standing claim; AgingError where it cannot be."""
    with entry.doing(opened.source, "claim", claim) as book:
        end(book, claim, reason=reason, by=by)


def replaceable(opened: data.Opened, formulation: str) -> dict[str, str]:
    """Standing claims of a formulation and what they are called."""
    every = standing(opened.exposure)
    return {one.claim: wording.called(one) for one in every if one.formulation == formulation}
