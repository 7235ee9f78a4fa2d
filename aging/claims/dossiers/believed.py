"""Sections on the model: in words, its courses' weights, what it believed, how often right."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from aging.claims.asked import counted
from aging.claims.dossiers.case import Case
from aging.fieldwork.report import Section

MODEL = (
    (
        "A reading is what the panel's state, the visit and the spot make of it. The visit "
        "(weather, set-up, operator) is shared by all panels of a rack, and panels of one "
        "formulation differ in start and loss; the model keeps these apart."
    ),
    (
        "The loss follows an average over several courses (exponential approach to a plateau, "
        "stretched exponential, delayed onset, power of time), each with a slow drift that may "
        "begin late, because no single shape is best everywhere."
    ),
    (
        "Rates, spreads and the weights below are integrated over a grid; given them all else is "
        "exact. Intervals are quantiles of joint draws whose seed follows from the site and its "
        "start, so that equal readings give equal digits; at one site the upper end is drawn in as "
        "the table asks (upper half). Sites are independent."
    ),
    "What no panel has shown yet, such as a late growth, enters only through the prior's drift.",
)


def sections(case: Case) -> Iterator[Section]:
    """The sections in their order."""
    fit = case.evidence.fit
    known = () if fit.balance is None else fit.balance.notes  # they stand among the methods
    notes = tuple(f"Note: {note}." for note in fit.notes if note not in known)
    yield Section("The model in words", (*MODEL, *notes))
    yield _courses(case)
    yield _coverage(case)
    yield _priors(case)


def weights(case: Case) -> pd.DataFrame:
    """Weight of each course at each site of the claim: site, course, prior, weight."""
    rows = [
        (one.site, course, one.posterior.priors.courses.get(course, 0.0), weight)
        for one in case.evidence.fit.series if one.formulation == case.claim.formulation
        for course, weight in sorted(one.posterior.course_weight.items())
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["site", "course", "prior", "weight"])


def _courses(case: Case) -> Section:
    table = weights(case)
    courses = sorted(table["course"].unique())
    rows = tuple(
        (str(site), *(f"{weight:.2f} ({prior:.2f})" for prior, weight in
                      some.set_index("course").loc[courses, ["prior", "weight"]].to_numpy()))
        for site, some in table.groupby("site")
    )  # fmt: skip
    line = (
        "In brackets the weight before any reading. From a year and 8 visits on a course weighs as "
        "it foretold the later visits."
    )
    return Section("Weights of the courses", (line,), ("Site", *courses), rows, 1)


def _coverage(case: Case) -> Section:
    title, found = "Record of past forecasts", case.evidence.coverage
    if found is None or found.empty:
        told = "No forecast from this store could be held against a later reading yet."
        return Section(title, (told,))
    rows = tuple(
        (f"{row['cut']:g}", str(row["n_series"]), str(row["n_forecasts"]),
         f"{100 * row['coverage']:.0f} %",
         f"{100 * row['coverage_lower']:.0f} to {100 * row['coverage_upper']:.0f} %")
        for row in found.to_dict("records")
    )  # fmt: skip
    heads = ("Known to month", "Series", "Forecasts", "Held", "95 % range, by series")
    line = "How many 90 % intervals, made from what was known by a month, held what was read later."
    return Section(title, (line,), heads, rows, 0)


def _priors(case: Case) -> Section:
    table = case.evidence.fit.gathered.prior_table()
    rows = tuple(
        (row["quantity"].replace("_", " "), row["climate"], row["unit"], row["source"],
         f"{row['value']:.4g}", "-" if pd.isna(row["spread"]) else f"{row['spread']:.3g}")
        for row in table.to_dict("records")
    )  # fmt: skip
    line = (
        f"What the model believed before any reading, {counted(len(rows), 'row')}; * any climate."
    )
    heads = ("Quantity", "Climate", "Unit", "Source", "Value", "Spread")
    return Section("Priors", (line,), heads, rows, 4)
