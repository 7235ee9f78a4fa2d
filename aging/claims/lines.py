"""A watched claim in one line of plain text, for a screen, a report or an e-mail."""

from __future__ import annotations

import numpy as np

from aging.claims.proposal import RETENTION
from aging.claims.watch import FAR, Watched
from aging.vocabulary import property_named


def watch_line(one: Watched) -> str:
    """Id and state of a claim, what it says, and why it stands so."""
    own = one.claim
    return f"{own.claim} {one.state}: {_said(one)}; {one.why}{_read(one)}{_to_break(one)}."


def _said(one: Watched) -> str:
    own = one.claim
    if own.criterion:
        return f"{own.formulation} meets {own.criterion} at {own.months:g} months"
    prop, share = property_named(own.property.removesuffix(RETENTION)), RETENTION in own.property
    side = "at most" if prop.higher_is_better is False and not share else "at least"
    places = 2 if share else min(prop.decimals, 2)
    unit = "" if share or prop.unit in ("fraction", "1", "rating") else f" {prop.unit}"
    label = prop.label[0].lower() + prop.label[1:] + RETENTION * share
    where = own.sites[0] if len(own.sites) == 1 else f"mean of {', '.join(own.sites)}"
    return (
        f"{own.formulation}, {label} {side} {own.value:.{places}f}{unit} at {own.months:g} months, "
        f"{where}"
    )


def _read(one: Watched) -> str:
    return f": {one.measured:.3f}" if np.isfinite(one.measured) else ""


def nearer(one: Watched) -> str:
    """What to add where a break lies too far off to be told well, or nothing."""
    return ", or nearer" if one.sigmas > FAR else ""


def _to_break(one: Watched) -> str:
    if np.isnan(one.breaks_at):
        return "; no single visit would break it" if np.isinf(one.distance) else ""
    return (
        f"; it breaks if the mean at month {one.next_months:g} reads {one.breaks_at:.3f}, "
        f"{one.distance:.3f} ({one.sigmas:.1f} standard deviations) off what is expected"
        f"{nearer(one)}"
    )
