"""Plans, looks, roofs and the laboratory, as facts for JSON and tables for a person."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from aging.claims import GATES
from aging.cli import differences as shown
from aging.cli import sources
from aging.cli.additives import Answer
from aging.comparison.design import SCHEDULE, Components, Plan, assumed, of_fit
from aging.comparison.laboratory import laboratory
from aging.comparison.looks import SITES, Look, LookRule, operating
from aging.comparison.roofs import roofs
from aging.projection import Fit, fit
from aging.vocabulary import Property, property_named

STEPS = (0.0, 0.5, 1.0, 2.0)  # true differences, in worthwhile ones


def components(
    source: str | None, store: str | None, measured: str
) -> tuple[tuple[Components, ...], str]:
    """Where a trial's errors come from: a source's own campaigns, else the table of priors."""
    if source is None and store is None:
        from aging.decay.priors import priors_for

        return (assumed(priors_for(property_named(measured))),), "assumed: the table of priors"
    given, _ = sources.facts(source, store, None)
    found = of_fit(fit(given, measured))
    return found, f"from the fitted campaigns of {len(found)} sites"


def show_plans(table: pd.DataFrame, told: str, wanted: float | None, measured: str) -> None:
    """Plans, the cheapest first, and which is the cheapest that is enough."""
    prop = property_named(measured)
    frame = table.drop(columns=["level", "power", "months"])
    if wanted is None:
        frame = frame.drop(columns="enough")
    title = (
        f"smallest difference in {prop.within} ({prop.unit}) at"
        f" {table['months'].iloc[0]:g} months, shown with probability {table['power'].iloc[0]:g}"
        f" by {100 * table['level'].iloc[0]:g} % intervals"
    )
    notes = [f"spreads {told}"]
    if wanted is not None:
        enough = table[table["enough"]]
        best = None if enough.empty else enough.iloc[0]
        notes.append(
            f"no plan here shows {wanted:g}: more panels, sites or months"
            if best is None
            else f"cheapest that shows {wanted:g}: sites {best['sites']:g}, panels a formulation"
            f" and site {best['panels']:g}, read to month {best['read_months']:g}"
        )
    least = GATES["limit"]
    notes.append(
        f"a look promotes from {SITES} sites on, a claim for use outside asks for"
        f" {least['sites']:g} sites of {least['panels']:g} panels"
    )
    whole = {"read_months": 0, "visits": 0, "panels": 0, "sites": 0, "cost": 0}
    shown.rows(title, frame, whole | {"smallest_difference": 4})
    shown.close(notes)


def chances_of(fitted: Fit, rule: LookRule) -> pd.DataFrame:
    """How often the rule stops, promotes and goes on, by true difference, for this trial's plan."""
    frame = fitted.project(rule.months).frame
    sites = frame.loc[frame["site"] != "all", "site"].nunique()
    panels = int(frame.loc[frame["site"] != "all", "n_panels"].median())
    plan = Plan(panels, sites, tuple(float(month) for month in SCHEDULE))
    count, parts = frame["formulation"].nunique() - 1, of_fit(fitted)
    worth = rule.worthwhile or 0.02
    return pd.concat([
        operating(rule, plan, parts, step * worth, count).assign(difference=step * worth)
        for step in STEPS
    ])  # fmt: skip


def show_look(found: Look, odds: pd.DataFrame | None, prop: Property, notes: Sequence[str]) -> None:
    """Decisions, and the rule's chances where asked for."""
    if found.look is not None:
        frame = found.frame.drop(columns=["against", "look", "tail"])
        title = f"{prop.label}: look at {found.look:g} months, difference to the control"
        shown.rows(title, frame, {"sites": 0})
    if odds is not None:
        title = (
            "share of formulations stopped, promoted, continued by each look, by true difference"
        )
        frame = odds[["difference", "look", "stop", "promote", "continue"]]
        shown.rows(title, frame, {"look": 0})
    shown.close(notes)


def roofs_beside(fitted: Fit, months: float, level: float) -> Answer:
    """The offset of roofs from racks."""
    found, prop = roofs(fitted, months, level), fitted.measured

    def show(notes: Sequence[str]) -> None:
        title = f"{prop.label} ({prop.unit}): roof minus racks at {months:g} months"
        drop = ["property", "months", "level"]
        shown.rows(title, found.offsets.drop(columns=drop), {"racks": 0})
        shown.rows("what the racks say of a next roof", found.projected.drop(columns=drop), {})
        shown.close(notes)

    mean, fresh = (f"{e:+.3f} ({low:+.3f} to {high:+.3f})" for e, low, high in
                   (found.mean, found.next_roof))  # fmt: skip
    told = (
        f"mean offset {mean}; a next roof {fresh}",
        f"interval from racks alone would be {found.worth:.2f} of the width that a roof needs",
    )
    facts = {
        "offsets": found.offsets, "mean": found.mean, "next_roof": found.next_roof,
        "projected": found.projected, "worth": found.worth,
    }  # fmt: skip
    return Answer(facts, show, (*told, *found.notes))


def laboratory_beside(fitted: Fit, months: float, level: float) -> Answer:
    """Laboratory results against the projection outdoors."""
    found = laboratory(fitted, months, level)

    def show(notes: Sequence[str]) -> None:
        title = "laboratory results beside the projection outdoors"
        shown.rows(title, _by_test(found.points), {"replicates": 0}, "test")
        two = dict.fromkeys(("estimate", "lower", "upper"), 2)
        shown.rows("rank correlation", _by_test(found.correlation), {"formulations": 0} | two)
        shown.close(notes)

    warned = tuple(
        f"{row['evidence']}, {row['property']}: ranks {row['first']} above {row['second']};"
        f" outdoors it is the other way with probability {shown.chance(row['probability'])}"
        for row in found.misleads.to_dict("records")
    )
    facts = {
        "points": found.points, "correlation": found.correlation, "misleads": found.misleads,
    }  # fmt: skip
    return Answer(facts, show, (*warned, *found.notes))


def _by_test(frame: pd.DataFrame) -> pd.DataFrame:
    """Kind of evidence and property as one column of words."""
    told = frame["evidence"].str.replace("_", " ") + ", " + frame["property"].str.replace("_", " ")
    return frame.drop(columns=["evidence", "property"]).assign(test=told)
