"""Claims as tables for a person: value, gates, sentences, criteria, watch list, words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from aging.claims import Gate, Hit, Proposal, Watched, watch_line
from aging.claims.words import CAUTIONS
from aging.cli.output import screen, table
from aging.cli.results import figure
from aging.vocabulary import DERIVED, PROPERTIES, property_named


def show_claim(
    found: Proposal,
    gates: Sequence[Gate],
    told: Sequence[str],
    every: Mapping[str, Sequence[Gate]],
) -> None:
    """The value, the gates of its basis, what stronger bases lack, and the sentences."""
    console = screen()
    digits = min(property_named(found.property.split()[0]).decimals, 2)
    console.print(
        f"{found.formulation}, {found.property} at {found.months:g} months, as {found.basis}",
        style="bold",
    )
    console.print(
        f"Value to claim: {figure(found.value, digits)}  (bound {figure(found.bound, digits + 2)}, "
        f"estimate {figure(found.estimate, digits + 2)}, {100 * found.confidence:g} % one-sided; "
        f"worst site {found.worst_site or '-'} {figure(found.worst_value, digits)})"
    )
    for note in found.notes:
        console.print(f"Note: {note}")
    if not gates:
        nearest = min(every, key=lambda basis: sum(not one.met for one in every[basis]))
        gates = every[nearest]
        console.print(f"No gate is needed for {found.basis}; of {nearest}, the nearest basis:")
    grid = table(["", "gate", "seen", "needed", "how, or when"], left=5)
    for one in gates:
        grid.add_row("met" if one.met else "NOT", one.gate, one.seen, one.needed, one.how)
    console.print(grid)
    for basis, others in every.items():
        lacking = [f"{one.gate} ({one.how})" for one in others if not one.met]
        if lacking and basis != found.basis:
            console.print(f"As {basis} not yet: {'; '.join(lacking)}")
    console.print("May be said:" if told else "Nothing may be said of it.", style="bold")
    for text in told:
        console.print(f"  {text}")


def show_criteria(rows: pd.DataFrame) -> None:
    """Each criterion and route with its probability."""
    console = screen()
    console.print(f"Criteria of programmes ({rows['emittance'].iloc[0]})", style="bold")
    grid = table(
        ["", "no.", "programme, edition, section", "slope", "thresholds", "probability"], 5
    )
    for number, row in enumerate(rows.fillna("").to_dict("records"), start=1):
        name = ", ".join(filter(None, (row["programme"], row["edition"], row["section"])))
        where = "; ".join(filter(None, (
            row["applies_to"], row["state"],
            row["checked"] if "check before use" in row["checked"] else "",
        )))  # fmt: skip
        grid.add_row(
            row["verdict"], str(number), f"{name}; {where}", row["slope"],
            _short(row["thresholds"]), f"{row['probability']:.2f}",
        )  # fmt: skip
    console.print(grid)
    console.print("Routes are tested apart. What meets a threshold here is no rating.")


def _short(thresholds: str) -> str:
    """Thresholds with the symbols of their quantities."""
    for name, prop in {**PROPERTIES, **DERIVED}.items():
        thresholds = thresholds.replace(name, prop.symbol)
    return thresholds.replace(" or more", "")


def show_cautions() -> None:
    """The cautions, where the number stands."""
    console = screen()
    for text in CAUTIONS:
        console.print(f"Caution: {text}")


def show_watch(found: Sequence[Watched], card: pd.DataFrame, sentence: str) -> None:
    """A line a claim, which no width breaks, then its figures and the report card."""
    console = screen()
    if not found:
        console.print("No claim stands. aging claim STORE FORMULATION --make records one.")
    else:
        for one in found:
            console.print(watch_line(one), soft_wrap=True)
        headers = ["claim", "formulation", "property", "state", "month", "claimed", "now", "margin",
                   "moved", "fails"]  # fmt: skip
        grid = table(headers, left=4)
        for one in found:
            own = one.claim
            grid.add_row(
                own.claim, own.formulation, own.criterion or own.property, one.state,
                f"{own.months:g}", figure(own.value, 2), figure(one.estimate, 3),
                figure(one.margin, 3), figure(one.moved, 3), figure(one.probability_failing, 2),
            )  # fmt: skip
        console.print(grid)
    console.print(sentence)
    for row in card.to_dict("records"):
        console.print(
            f"  {row['claim']} {row['formulation']}: claimed {row['value']:.2f}, read "
            f"{row['measured']:.3f}: {'right' if row['right'] else 'WRONG'}"
        )


def show_hits(text: str, hits: Sequence[Hit]) -> None:
    """Each expression with line and place, why, and what to write."""
    console = screen()
    for hit in hits:
        line = text.count("\n", 0, hit.start) + 1
        place = hit.start - (text.rfind("\n", 0, hit.start) + 1) + 1
        found = " ".join(hit.found.split())
        console.print(f"line {line}, character {place}: {found}", style="bold")
        console.print(f"  {hit.reason}\n  Safer: {hit.safer}")
    count = len(hits) or "No"
    console.print(
        f"{count} expression{'s' * (len(hits) != 1)} to avoid. Legal review is still due."
    )


def show_words(words: pd.DataFrame) -> None:
    """The table of expressions."""
    grid = table(["expression", "passes with", "why", "safer"], left=4)
    for row in words.to_dict("records"):
        grid.add_row(row["expression"], row["unless"], row["reason"], row["safer"])
    screen().print(grid)
