"""Sections that judge: the value made again, by site, gates, criteria, control, code's default."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd

from aging.claims.asked import counted
from aging.claims.criteria import named, verdicts
from aging.claims.dossiers.case import Case, figure
from aging.claims.proposal import PROJECTED, first_read
from aging.fieldwork.report import Section
from aging.optics.criteria import default_aged
from aging.projection import ALL_SITES
from aging.vocabulary import property_named

MEAN = "mean of the sites"
OWN = {
    "measured": "the mean of the panels read within 30 days of the month",
    "laboratory-aged": "the mean of the panels soiled in the laboratory",
    "default formula": "what a code assumes of the mean read when new",
    "rated": "the value as the body issued it",
} | dict.fromkeys(PROJECTED, "the one-sided bound of what one visit reads, mean of the sites")


def sections(case: Case) -> Iterator[Section]:
    """The sections in their order; those that do not apply to the property are left out."""
    yield _value(case)
    yield _by_site(case)
    yield _gates(case)
    yield _control(case)
    if case.prop.name == "solar_reflectance" and not case.retention:
        yield _default(case)
    if case.evidence.fit.gathered.property.name == "solar_reflectance" and not case.retention:
        yield _criteria(case)


def _value(case: Case) -> Section:
    claim, again = case.claim, case.proposal
    told = [f"It is {OWN[claim.basis]}, rounded to the side that promises less."]
    if claim.basis == "rated":
        told = [
            f"It is {OWN['rated']}: {claim.rating}. What follows is our own exposure beside it."
        ]
    rows = []
    for name, then, now in (
        ("Value", claim.value, again.value),
        (f"Worst site, {again.worst_site}", np.nan, again.worst_value),
        ("Estimate", claim.estimate, again.estimate), ("Bound", np.nan, again.bound),
    ):  # fmt: skip
        if claim.basis != "rated" and not (pd.isna(then) and pd.isna(now)):
            more = int(name in {"Estimate", "Bound"})
            rows.append((name, _number(case, then, more), _number(case, now, more)))
    if claim.criterion:
        told = [
            f"It claims that a criterion is met: {claim.criterion}. Its probability stands below."
        ]
    elif claim.basis != "rated":
        told.append(_agreement(case))
    notes = () if claim.basis in PROJECTED else tuple(f"{note}." for note in again.notes)
    heads = ("Figure", "As recorded", "Made again from the evidence")
    return Section("How the value follows", (*told, *notes), heads, tuple(rows), 1)


def _agreement(case: Case) -> str:
    claimed, again = case.claim.value, case.proposal.value
    better = -1 if case.prop.higher_is_better is False and not case.retention else 1
    if claimed == again:
        return "Made again from the evidence it names, the value is the same."
    if better * (again - claimed) > 0:
        return "Made again from the evidence it names, more could be claimed than was."
    return "NOT CARRIED: made again from the evidence it names, less can be claimed than was."


def _number(case: Case, value: float, more: int = 1) -> str:
    return figure(value, case.prop, retention=case.retention, more=more)


def _by_site(case: Case) -> Section:
    own = replace(
        case.evidence.fit,
        series=tuple(one for one in case.evidence.fit.series
                     if one.formulation == case.claim.formulation),
    )  # fmt: skip
    frame = own.project(case.claim.months, retention=case.retention).frame
    rows = tuple(
        (MEAN if row["site"] == ALL_SITES else row["site"],
         "a visit's reading" if row["target"] == "reading" else "the mean",
         row["status"], str(row["n_panels"]), f"{row['observed_months']:.1f}",
         *(_number(case, row[name]) for name in ("estimate", "lower", "upper")))
        for row in frame.to_dict("records")
    )  # fmt: skip
    heads = ("Site", "Of", "Standing", "Panels", "Months read", "Estimate", "Lower", "Upper")
    line = (
        f"{case.prop.label}{' retention' * case.retention} at {case.claim.months:g} months with "
        "90 % intervals. A visit's reading holds its weather and set-up too; a projected claim "
        "rests on it."
    )
    lines = (line, f"Mind: {frame['notes'].iloc[-1]}.")
    return Section("Projection by site", lines, heads, rows, 3)


def _gates(case: Case) -> Section:
    rows = tuple(
        ("met" if one.met else "NOT met", one.gate, one.seen,
         one.needed + (f"; {one.how}" if one.how else ""), f"{one.reason} ({one.source})")
        for one in case.gates
    )  # fmt: skip
    met = sum(one.met for one in case.gates)
    basis = case.claim.basis
    line = f"{met} of the {len(rows)} gates of the basis {basis} are met by this evidence."
    if basis == "internal":
        line = (
            "Claims for internal use ask no gate, and nothing here may be said outside. To be "
            f"claimed as projected there are {len(rows)}, of which {met} are met."
        )
    line += " Doubts are raised by the shipped limits of the checks."
    heads = ("State", "Gate", "Seen", "Needed", "Why it is asked (source)")
    return Section("Evidence gates", (line,), heads, rows, len(heads))


def _control(case: Case) -> Section:
    rows = tuple(
        (row["against"], MEAN if row["site"] == ALL_SITES else row["site"],
         *(_number(case, row[name]) for name in ("estimate", "lower", "upper", "joint_lower",
                                                 "joint_upper")),
         "-" if pd.isna(row["probability_better"]) else f"{row['probability_better']:.2f}")
        for row in case.compared.to_dict("records")
    )  # fmt: skip
    title = "Compared with the control"
    if not rows:
        return Section(title, ("No control hangs beside it, or it is the control itself.",))
    line = (
        f"{case.prop.label} at {case.claim.months:g} months, {case.claim.formulation} minus the "
        "control, as one visit reads both: what the visit shares cancels. 90 % intervals, the "
        "second pair for all differences of the trial at once."
    )
    heads = ("Control", "Site", "Difference", "Lower", "Upper", "Lower, all", "Upper, all",
             "P(better)")  # fmt: skip
    return Section(title, (line,), heads, rows, 2)


def _default(case: Case) -> Section:
    title, new = "What codes assume", first_read(case.evidence, case.claim.formulation)
    if new.empty:
        return Section(title, ("No panel was read when new, so that no default can be reckoned.",))
    initial = float(new.groupby("site")["value"].mean().mean())
    rows = tuple(
        (f"{one.programme}, {one.edition}", one.product, f"{one.beta:g}",
         _number(case, float(one.reflectance(initial))))
        for one in default_aged()
    )  # fmt: skip
    line = (
        f"0.2 + beta (initial - 0.2) with the mean read when new, {_number(case, initial)} of "
        f"{counted(new['panel'].nunique(), 'panel')}: assumed of an unrated product, no prediction."
    )
    heads = ("Programme, edition", "Product", "Beta", "Default")
    return Section(title, (line,), heads, rows, 2)


def _criteria(case: Case) -> Section:
    fit = replace(case.evidence.fit, balance=None)
    frame = verdicts(fit, case.claim.formulation, case.claim.months).fillna("")
    rows = tuple(
        (row["verdict"] + (" (claimed)" if named(row) == case.claim.criterion else ""),
         named(row), _short(row["thresholds"]), row["source"] + _unsure(row["checked"]),
         f"{row['probability']:.2f}")
        for _, row in frame.iterrows()
    )  # fmt: skip
    line = (
        f"Probability that the mean of the sites meets each route at {case.claim.months:g} months, "
        f"or when new where it says initial, with {frame['emittance'].iloc[0]}. Met from 0.95, not "
        "met up to 0.05. Routes are tested apart, and what meets a threshold here is no rating."
    )
    heads = ("Verdict", "Criterion and route", "Thresholds", "Source", "Probability")
    return Section("Criteria of programmes", (line,), heads, rows, 4)


def _unsure(checked: str) -> str:
    return "; check before use" if "check before use" in checked else ""


def _short(thresholds: str) -> str:
    for name in ("solar_reflectance", "thermal_emittance", "sri"):
        thresholds = thresholds.replace(name, property_named(name).symbol)
    return thresholds
