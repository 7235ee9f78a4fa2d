"""Does every standing claim still hold? Evaluated anew on whatever the readings are now.

A claim speaks of the mean over its sites as one visit reads it. Once each of them was read around
the claimed month, the measured mean decides. Until then, with F the draws of that reading at the
claimed month and N those of the mean at the next visit:

    probability of failing   share of F on the worse side of the value
    at risk, broken          above a set level; above one half, so that failing is likelier than not
    breaks at                next mean at which the middle of F would lie on the value:
                             E N - (E F - value) / b,  b = cov(F, N) / var(N)
    distance                 from E N to there, in the property's unit, and over the sd of N

A next visit that says little of the claimed month (b of 0.05 or less) breaks nothing by itself.
The line through the draws is a guide as far as they reach (FAR): a mean farther off is taken for a
late loss that begins, and moves the claimed month by more than b tells.
Of a claim that a criterion is met, failing is one minus its probability.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

import numpy as np
import pandas as pd

from aging.claims.criteria import named, verdicts
from aging.claims.evidence import Evidence
from aging.claims.proposal import RETENTION, floored, mean_and_bound, measured, reading_draws
from aging.claims.record import Claim, claims, standing
from aging.decay.site import Array
from aging.errors import ModelError, require
from aging.projection import Fit, fit
from aging.projection.remedies import ANOTHER_VISIT
from aging.records import Exposure
from aging.vocabulary import Property, property_named

AT_RISK, BROKEN = 0.1, 0.5
NEXT_MONTHS = 3.0  # where no plan says when the next visit is
LEAST_PULL = 0.05
FAR = 3.0  # standard deviations
State = Literal["holds", "at risk", "broken", "cannot tell"]


@dataclass(frozen=True)
class Watched:
    """How a claim stands now; nan where a figure does not apply. In the property's unit.

    margin: estimate (or measured mean) beyond the value, above 0 is well. moved: estimate since the
    claim was made, above 0 is better. next_months, breaks_at, distance, sigmas: see the module.
    """

    claim: Claim
    state: State
    probability_failing: float
    estimate: float
    measured: float
    margin: float
    moved: float
    next_months: float
    breaks_at: float
    distance: float
    sigmas: float
    why: str


def watch(
    exposure: Exposure,
    *,
    at_risk: float = AT_RISK,
    fits: dict[str, Fit] | None = None,
    ended: bool = False,
) -> tuple[Watched, ...]:
    """Every standing claim of an exposure, evaluated on its readings.

    at_risk: probability of failing above which a claim is at risk. fits: by property as read; those
    that it lacks are made and put there. ended: withdrawn and replaced claims too.
    """
    require(0 < at_risk < BROKEN, "at_risk", at_risk, f"between 0 and {BROKEN:g}")
    every = claims(exposure) if ended else standing(exposure)
    desk = _Desk(exposure, {} if fits is None else fits, at_risk)
    return tuple(desk.judged(one) for one in every)


class _Desk:
    """Fits and draws that claims share, each made once."""

    def __init__(self, exposure: Exposure, fits: dict[str, Fit], at_risk: float) -> None:
        self.exposure, self.fits, self.at_risk = exposure, fits, at_risk
        self.evidence = cache(self._evidence)
        self.drawn, self.verdicts = cache(self._drawn), cache(self._verdicts)
        self.read = cache(self._read)

    def judged(self, claim: Claim) -> Watched:
        """One claim now."""
        name, retention = claim.property.removesuffix(RETENTION), RETENTION in claim.property
        try:
            found = self.evidence(name)
        except ModelError as error:
            return _unknown(claim, str(error))
        if gone := sorted(set(claim.sites) - set(found.sites(claim.formulation))):
            return _unknown(claim, f"no readings of it at {', '.join(gone)}")
        if claim.criterion:
            return self._criterion(claim)
        prop = found.fit.measured
        better = -1 if prop.higher_is_better is False and not retention else 1
        read = self.read(name, claim.formulation, claim.months, retention, claim.sites)
        if np.isfinite(read):
            return _decided(claim, read, prop, better)
        final = self._mean(claim, name, claim.months, another=False)
        failing = float((better * (final - claim.value) < 0).mean())
        estimate = float(np.median(final))
        state, why = self._state(failing)
        seen = found.of(claim.formulation)["months"].max()
        month = next_visit(self.exposure.plan, float(seen), claim.months)
        other = self._mean(claim, name, month, another=True)
        breaks, distance, sigmas = _to_break(final, other, claim.value, better)
        return Watched(
            claim, state, failing, estimate, np.nan, better * (estimate - claim.value),
            better * (estimate - claim.estimate), month, breaks, distance, sigmas, why,
        )  # fmt: skip

    def _criterion(self, claim: Claim) -> Watched:
        rows = self.verdicts(claim.formulation, claim.months)
        row = rows[rows.apply(named, axis=1) == claim.criterion]
        if row.empty:
            return _unknown(claim, "its criterion is no longer in the table")
        met = float(row["probability"].iloc[0])
        state, why = self._state(1 - met)
        return replace(_unknown(claim, why), state=state, probability_failing=1 - met)

    def _state(self, failing: float) -> tuple[State, str]:
        told = f"fails with probability {failing:.2f}, as read now"
        if failing > BROKEN:
            return "broken", told
        return ("at risk" if failing > self.at_risk else "holds"), told

    def _evidence(self, name: str) -> Evidence:
        read = property_named(name).read_as
        if read not in self.fits:
            self.fits[read] = fit(self.exposure, read)
        return Evidence(self.fits[read].told_as(name))

    def _read(
        self, name: str, formulation: str, months: float, retention: bool, sites: tuple[str, ...]
    ) -> float:
        """Mean that was read around the month, nan where it was not."""
        found = self.evidence(name)
        read = measured(found, formulation, months, retention=retention, sites=sites)
        return mean_and_bound(read, found.fit.measured)[0] if len(read) else np.nan

    def _mean(self, claim: Claim, name: str, months: float, *, another: bool) -> Array:
        """Draws of the mean over the sites of a claim."""
        retention = RETENTION in claim.property
        drawn = self.drawn(name, months, retention, another=another)[claim.formulation]
        mean: Array = np.mean([drawn[site] for site in claim.sites], axis=0)
        return mean

    def _drawn(
        self, name: str, months: float, retention: bool, *, another: bool
    ) -> dict[str, dict[str, Array]]:
        own = self.evidence(name).fit
        return reading_draws(_another(own) if another else own, months, retention=retention)

    def _verdicts(self, formulation: str, months: float) -> pd.DataFrame:
        return verdicts(self.evidence("solar_reflectance").fit, formulation, months)


def next_visit(plan: pd.DataFrame, seen: float, months: float) -> float:
    """Month of the next visit: as planned, else some months on, at most the claimed one."""
    later = plan.loc[plan["months"] > seen + NEXT_MONTHS / 2, "months"]
    return float(min(months, later.min() if len(later) else round(seen + NEXT_MONTHS)))


def report_card(
    exposure: Exposure, *, fits: dict[str, Fit] | None = None
) -> tuple[pd.DataFrame, str]:
    """The `card` of every claim ever made."""
    return card(watch(exposure, fits=fits, ended=True))


def card(every: Iterable[Watched]) -> tuple[pd.DataFrame, str]:
    """Claims that a reading has decided since they were made, and in a sentence how often right.

    Columns: claim, formulation, property, basis, months, value, measured (rounded to the side that
    promises less, as the value is), right, given_away (measured mean beyond the value).
    """
    rows = []
    for told in every:
        claim = told.claim
        if np.isfinite(told.measured) and claim.basis != "measured":
            rows.append({
                "claim": claim.claim, "formulation": claim.formulation,
                "property": claim.property, "basis": claim.basis, "months": claim.months,
                "value": claim.value, "measured": told.measured,
                "right": told.state == "holds", "given_away": told.margin,
            })  # fmt: skip
    columns = ["claim", "formulation", "property", "basis", "months", "value", "measured",
               "right", "given_away"]  # fmt: skip
    frame = pd.DataFrame(rows, columns=columns)
    if frame.empty:
        return frame, "No claim has met its reading yet."
    right = int(frame["right"].sum())
    return frame, f"{right} of {len(frame)} claims were right when their month was read."


def _another(own: Fit) -> Fit:
    """The same fit whose readings are those of another visit than the one projected."""
    each = {id(one.posterior): one.posterior for one in own.series}
    other = {key: replace(one, seed=one.seed + ANOTHER_VISIT) for key, one in each.items()}
    return replace(
        own,
        series=tuple(replace(one, posterior=other[id(one.posterior)]) for one in own.series),
    )


def _to_break(final: Array, other: Array, value: float, better: int) -> tuple[float, float, float]:
    """Next mean at which a claim breaks, how far that is, and in its standard deviations."""
    cov = np.cov(final, other)
    pull = cov[0, 1] / cov[1, 1]
    margin = better * (float(np.median(final)) - value)
    if margin <= 0 or pull <= LEAST_PULL:
        return (np.nan, 0.0, 0.0) if margin <= 0 else (np.nan, np.inf, np.inf)
    distance = margin / pull
    return (
        float(np.median(other) - better * distance), float(distance),
        float(distance / cov[1, 1] ** 0.5),
    )  # fmt: skip


def _decided(claim: Claim, mean: float, prop: Property, better: int) -> Watched:
    """A claim whose month was read."""
    kept = better * (floored(mean, prop) - claim.value) >= 0
    return Watched(
        claim, "holds" if kept else "broken", 0.0 if kept else 1.0, mean, mean,
        better * (mean - claim.value), better * (mean - claim.estimate), np.nan, np.nan, np.nan,
        np.nan, f"measured around month {claim.months:g}",
    )  # fmt: skip


def _unknown(claim: Claim, why: str) -> Watched:
    none = np.nan
    return Watched(claim, "cannot tell", none, none, none, none, none, none, none, none, none, why)
