"""The product manager's commands: claim, withdraw, watch, words."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from aging.cli.commands import commands
from aging.cli.options import Json, Measured
from aging.errors import CallError, require

if TYPE_CHECKING:
    import pandas as pd

    from aging.claims import Evidence, Gate
    from aging.projection import Fit

AT_RISK, BROKEN = 1, 4
OUTSIDE = ("measured", "substantiated", "projected")  # the strongest first
Kept = Annotated[str, typer.Argument(help="Store: an SQLite file or a postgresql:// URL.")]
By = Annotated[str | None, typer.Option(help="Who says so; default: the login name.")]


@commands.command(epilog="Example: aging claim exposure.sqlite S8H30 --months 36")
def claim(
    source: Annotated[str, typer.Argument(help="Store, or exposure folder or .xlsx.")],
    formulation: Annotated[str, typer.Argument(help="Formulation that the claim is about.")],
    *,
    measured: Measured = "solar_reflectance",
    retention: Annotated[
        bool, typer.Option("--retention", help="Claim the share of the initial value.")
    ] = False,
    months: Annotated[float, typer.Option(help="Months of exposure that it speaks of.")] = 36.0,
    basis: Annotated[
        Literal[
            "rated",
            "measured",
            "substantiated",
            "projected",
            "internal",
            "laboratory-aged",
            "default formula",
        ]
        | None,
        typer.Option("--as", help="What it rests on.  [default: the strongest that is open]"),
    ] = None,
    rating: Annotated[
        str, typer.Option(help="Identifier, body and date of an issued rating.")
    ] = "",
    value: Annotated[
        float | None, typer.Option(help="Value that the body issued, with --as rated.")
    ] = None,
    share: Annotated[
        float | None, typer.Option(help="Also: would it hold for this share of roofs, as 0.95?")
    ] = None,
    criterion: Annotated[
        int | None, typer.Option(help="Claim that this criterion is met, by its number below.")
    ] = None,
    back_test: Annotated[
        bool, typer.Option("--backtest/--no-backtest", help="Hold past forecasts to readings.")
    ] = True,
    record: Annotated[bool, typer.Option("--make", help="Record the claim in the store.")] = False,
    wording: Annotated[
        str | None, typer.Option(help="Own words.  [default: the first allowed sentence]")
    ] = None,
    replaces: Annotated[str, typer.Option(metavar="CLAIM", help="Claim that it replaces.")] = "",
    reason: Annotated[str, typer.Option(help="Why it replaces that one.")] = "",
    by: By = None,
    json: Json = None,
) -> int:
    """Propose a value, what its evidence lacks, what to say."""
    from getpass import getuser

    from aging.claims import assess, evidence_of, make, propose, sentences
    from aging.cli import claim_tables, output
    from aging.ledger import open_ledger
    from aging.source import is_store

    if record and not is_store(source):
        raise CallError("--make: a claim is kept in the store that it rests on; load the folder")
    require((basis == "rated") == (value is not None) == bool(rating), "--as, --value, --rating",
            (basis, value, rating), "all three of a rating, else none")  # fmt: skip
    with output.progress("fitting") as step:
        known = evidence_of(source, measured, back_test=back_test, on_progress=step)
        every = {one: assess(known, formulation, one, months) for one in OUTSIDE}
    chosen = basis or _strongest(every)
    gates = assess(known, formulation, chosen, months, rating=rating, share=share)
    proposal = propose(known, formulation, chosen, months, retention=retention, rated=value)
    told = sentences(proposal, rating=rating)
    criteria = _criteria(known, formulation, months) if not retention else None
    facts = {"proposal": proposal, "gates": gates, "sentences": told, "criteria": criteria}

    def show() -> None:
        claim_tables.show_claim(proposal, gates, told, every)
        if criteria is not None:
            claim_tables.show_criteria(criteria)
        claim_tables.show_cautions()

    output.give(json, facts, show)
    if not record:
        return 0
    met = ""
    if criterion is not None:
        if criteria is None or not 1 <= criterion <= len(criteria):
            raise CallError(f"--criterion: {criterion} is not the number of a criterion listed")
        met, told = _met(known, criteria.iloc[criterion - 1], formulation, months)
    words = wording or next(iter(told), "")
    with open_ledger(source) as book:
        made = make(
            book, proposal, gates, words, revision=known.revision or 0, by=by or getuser(),
            rating=rating, criterion=met, replaces=replaces, reason=reason,
        )  # fmt: skip
    typer.echo(f"claim {made.claim} is recorded on revision {made.evidence_revision}")
    return 0


@commands.command(
    epilog="Example: aging withdraw exposure.sqlite 3f2a91bc --reason 'formula ended'"
)
def withdraw(
    store: Kept,
    claim: Annotated[str, typer.Argument(help="Id of the claim.")],
    *,
    reason: Annotated[str, typer.Option(help="Why.")],
    by: By = None,
) -> None:
    """Withdraw a standing claim; it stays in the record."""
    from getpass import getuser

    from aging.claims import withdraw as end
    from aging.ledger import open_ledger

    with open_ledger(store) as book:
        end(book, claim, reason=reason, by=by or getuser())
    typer.echo(f"{claim} is withdrawn")


@commands.command(epilog="Example: aging watch exposure.sqlite --at-risk 0.1")
def watch(
    store: Kept,
    *,
    at_risk: Annotated[
        float, typer.Option(help="Probability of failing above which a claim is at risk.")
    ] = 0.1,
    json: Json = None,
) -> int:
    """Tell whether every standing claim still holds."""
    from aging.claims import report_card
    from aging.claims import watch as watched
    from aging.cli import claim_tables, output
    from aging.source import is_store, open_source

    require(is_store(store), "STORE", store, "a store, which alone keeps claims")
    with output.progress("fitting"):
        exposure = open_source(store)
        fits: dict[str, Fit] = {}
        found = watched(exposure, at_risk=at_risk, fits=fits)
        card, sentence = report_card(exposure, fits=fits)
    output.give(
        json, {"claims": found, "report_card": card, "told": sentence},
        lambda: claim_tables.show_watch(found, card, sentence),
    )  # fmt: skip
    states = {one.state for one in found}
    return BROKEN if "broken" in states else AT_RISK * bool(states - {"holds"})


@commands.command(epilog="Example: aging words 'Our self-cleaning coating stays white.'")
def words(
    text: Annotated[
        str | None, typer.Argument(help="Text, or a file that holds it.  [default: the list]")
    ] = None,
    *,
    json: Json = None,
) -> int:
    """Mark expressions that no evidence carries."""
    from pathlib import Path

    from aging.claims import examine
    from aging.claims.words import WORDS
    from aging.cli import claim_tables, output

    if text is None:
        output.give(json, {"expressions": WORDS}, lambda: claim_tables.show_words(WORDS))
        return 0
    named = len(text) < 200 and "\n" not in text and Path(text).is_file()  # noqa: PLR2004
    whole = Path(text).read_text(encoding="utf-8") if named else text
    hits = examine(whole)
    output.give(json, {"hits": hits}, lambda: claim_tables.show_hits(whole, hits))
    return int(bool(hits))


def _strongest(every: dict[str, tuple[Gate, ...]]) -> str:
    """The first basis whose gates are all open."""
    return next((one for one, gates in every.items() if all(g.met for g in gates)), "internal")


def _criteria(known: Evidence, formulation: str, months: float) -> pd.DataFrame | None:
    """Verdicts where the fit is one of solar reflectance, else None."""
    from aging.claims import verdicts

    if known.fit.gathered.property.name != "solar_reflectance":
        return None
    return verdicts(replace(known.fit, balance=None), formulation, months)


def _met(
    known: Evidence, row: pd.Series, formulation: str, months: float
) -> tuple[str, tuple[str]]:
    """Name of a criterion that is met, and the sentence on it."""
    from aging.claims.criteria import named, sentence

    return named(row), (sentence(row, formulation, months, len(known.sites(formulation))),)
