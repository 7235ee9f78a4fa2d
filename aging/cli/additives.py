"""What additives do, as facts for JSON and tables for a person."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import starmap
from pathlib import Path
from typing import Any

import pandas as pd

from aging.charts import quantity, quantity_within
from aging.cli import differences as shown
from aging.cli.output import screen
from aging.comparison import costs as money
from aging.comparison import dose as along
from aging.comparison.factorial import factorial
from aging.comparison.surface import between as read_off
from aging.errors import CallError, SourceError
from aging.intake import composition
from aging.projection import Fit
from aging.vocabulary import additive_words, dose_words
from dashboard import trial_wording

PRICE_COLUMNS = ("additive", "price_per_kg", "density_kg_m3")
VALUES = ("estimate", "lower", "upper")


@dataclass(frozen=True)
class Answer:
    """Facts for JSON, how to show them, notes."""

    facts: dict[str, Any]
    show: Callable[[Sequence[str]], None]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Cost:
    """Where prices stand, wet coating per m2 and its density, and an aged value to cross."""

    prices: Path
    coating_kg_m2: float
    coating_kg_m3: float | None
    threshold: float | None


def doses(option: str, text: str | None) -> dict[str, float]:
    """The doses of "silica_wt_pct=6,hollow_sphere_vol_pct=20"; CallError for what is none."""
    try:
        pairs = [part.split("=") for part in text.split(",")] if text else []
        return {name.strip(): float(value) for name, value in pairs}
    except ValueError:
        raise CallError(f"{option}: {text!r} is not allowed; allowed: NAME=NUMBER,...") from None


def effects(fitted: Fit, months: float, level: float) -> Answer:
    """Main effects and synergies."""
    prop = fitted.measured
    found = factorial(fitted, composition(fitted.exposure.formulations), months, level)
    effects_of = [trial_wording.effect(row) for row in found.frame.to_dict("records")]
    figures = {one: trial_wording.figure_at(one, prop, months) for one in trial_wording.FIGURES}
    frame = found.frame.assign(effect=effects_of, figure=found.frame["figure"].map(figures))
    frame = frame[["figure", "effect", "estimate", "lower", "upper", "probability_above", "cells"]]
    title = (
        f"{quantity(prop)}: effects of composition at {months:g} months, projected,"
        f" mean over {', '.join(found.sites)}; {100 * level:g} % intervals"
    )
    places = {"cells": 0} | dict.fromkeys(VALUES, max(prop.decimals, 2))
    note = "ratio: 1 is what both alone would leave of the loss together; less is synergy"
    return Answer(
        {"rows": found.frame, "sites": found.sites},
        lambda notes: _table(title, frame, places, notes, by="figure"),
        (*found.notes, note),
    )  # fmt: skip


def _table(title: str, frame: pd.DataFrame, decimals: dict[str, int], notes: Sequence[str],
           **how: Any) -> None:  # fmt: skip
    shown.rows(title, frame, decimals, **how)
    shown.close(notes)


def dose(fitted: Fit, additive: str, others: dict[str, float], months: float,
         level: float) -> Answer:  # fmt: skip
    """The gain along one additive's dose."""
    table = composition(fitted.exposure.formulations)
    found = along.dose_response(fitted, table, additive, months, level, others=others)
    (name, unit), (least, low, high) = additive_words(additive), found.levels_off
    told = (
        f"levels off (95 % of the gain) at {least:.1f} {unit} ({low:.1f} to {high:.1f});"
        f" better with more of it: probability {shown.chance(found.rising)}"
    )
    some = found.curve[found.curve["exposed"] | (found.curve.index % 10 == 0)]
    decimals = fitted.measured.decimals
    title = (
        f"{quantity(fitted.measured)}, projected, along the dose of {name} at {months:g} months;"
        f" {100 * level:g} % intervals"
    )
    words = {"dose": f"{name},\n{unit}"}
    return Answer(
        {"curve": found.curve, "levels_off": found.levels_off, "rising": found.rising,
         "forms": found.forms},
        lambda notes: _table(title, some, {"dose": 1} | dict.fromkeys(VALUES, decimals), notes,
                             headings=words),
        (told, *found.notes),
    )  # fmt: skip


def between(fitted: Fit, wanted: dict[str, float], months: float, level: float) -> Answer:
    """A composition that was not exposed."""
    found = read_off(fitted, composition(fitted.exposure.formulations), wanted, months, level)
    decimals = fitted.measured.decimals

    def show(notes: Sequence[str]) -> None:
        told = ", ".join(starmap(dose_words, found.composition.items()))
        screen().print(
            f"{told}: projected {fitted.measured.within} {found.estimate:.{decimals}f}"
            f" ({100 * level:g} % interval {found.lower:.{decimals}f} to"
            f" {found.upper:.{decimals}f}) at {months:g} months, read off a surface, not exposed"
        )
        shown.close(notes)

    return Answer({"composition": found}, show)


def costs(fitted: Fit, cost: Cost, months: float, level: float) -> Answer:
    """What a gain costs."""
    table = composition(fitted.exposure.formulations)
    table = table.loc[table.index.isin([one.formulation for one in fitted.series])]
    each = money.cost_per_m2(
        table, read_prices(cost.prices), cost.coating_kg_m2, cost.coating_kg_m3
    )
    frame = money.costs(
        fitted, {str(name): float(value) for name, value in each.items()},
        period=(0.0, months), level=level, threshold=cost.threshold, months=months,
    )  # fmt: skip
    best = money.cheapest(frame)
    notes = ["additive cost alone, per m2; gain: mean over the period against the control"]
    if cost.threshold is not None:
        notes.append(
            f"cheapest that reaches {cost.threshold:g}: {best}" if best
            else f"none reaches {cost.threshold:g} with {100 * level:g} %"
        )  # fmt: skip
    title = (
        f"cost of additives and gain in {quantity_within(fitted.measured)}, projected, mean over"
        f" {months:g} months; {100 * level:g} % intervals"
    )
    return Answer(
        {"rows": frame, "cheapest": best},
        lambda told: _table(
            title, frame.drop(columns=["against", "level", "crosses"]).dropna(axis=1, how="all"),
            {"cost_per_m2": 2, "extra_cost_per_m2": 2}, told,
        ),
        tuple(notes),
    )  # fmt: skip


def read_prices(path: Path) -> pd.DataFrame:
    """Table of prices; SourceError for a file that is none."""
    try:
        table = pd.read_csv(path)
    except (OSError, ValueError) as error:
        raise SourceError(f"{path}: cannot be read as a table of prices ({error})") from error
    missing = [name for name in PRICE_COLUMNS[:2] if name not in table]
    if missing:
        raise SourceError(f"{path}: lacks {', '.join(missing)}; needs {', '.join(PRICE_COLUMNS)}")
    found = table.reindex(columns=list(PRICE_COLUMNS))
    numbers = found[list(PRICE_COLUMNS[1:])].apply(pd.to_numeric, errors="coerce")
    wrong = [f"row {row + 2}: {found.loc[row, 'price_per_kg']!r} is no price"
             for row in numbers.index[~(numbers["price_per_kg"] >= 0)]]  # fmt: skip
    if wrong:
        raise SourceError(f"{path}: " + "; ".join(wrong))
    return found.assign(**numbers)
