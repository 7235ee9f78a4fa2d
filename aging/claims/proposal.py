"""Which value may be claimed: one that holds with confidence, rounded to what promises less.

basis            value                                          bound
projected *      floor of the bound                             one-sided bound of the mean over
                                                                sites, target "reading"
measured         floor of the mean read within the window       mean - t(df) SE, of panels
default formula  floor of 0.2 + beta (initial - 0.2)            none: an assumption
laboratory-aged  floor of the mean of soiled panels             mean - t(df) SE, of panels
rated            as the body issued it                          none

* and substantiated, internal. SE^2 = sum_s (sd_s^2 / n_s) / S^2 over S sites of n_s panels, df by
Welch and Satterthwaite; what a visit shares moves all panels together and is not in it. Where lower
is better the bound is the upper one and the floor a ceiling. Values are floored to 0.01, or to the
step of the property where that is wider (SRI: 1), after noise of 1e-12 is taken off. Where batches
of paint may not be averaged (ICH Q1E, 0.25), a value projected or measured is lower by as much as
the worst batch lies below their mean.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

import numpy as np
import pandas as pd

from aging.claims.amount import laboratory
from aging.claims.asked import LIMITS
from aging.claims.evidence import Evidence
from aging.comparison.poolability import APART, batches_of
from aging.decay.site import Array
from aging.errors import ModelError, require
from aging.optics.criteria import DefaultAged, default_aged
from aging.projection import ALL_SITES, Fit
from aging.standing import CANNOT, narrow_enough, together, usual_width
from aging.vocabulary import CLAIM_BASES, Property

CONFIDENCE = 0.95
FINEST = 0.01
DEFAULT_PRODUCT, DEFAULT_EDITION = "field-applied coating", "2013 and later"
PROJECTED = ("substantiated", "projected", "internal")
RETENTION = " retention"


@dataclass(frozen=True)
class Proposal:
    """A value that may be claimed; nan where nothing can be.

    property: the name told, followed by "retention" for a share of the initial value. bound:
    unrounded, nan where there is none. worst_site: the site that does worst, with its own value
    rounded alike. observed: months read at the site read least.
    """

    formulation: str
    property: str
    basis: str
    months: float
    value: float
    bound: float
    estimate: float
    worst_site: str
    worst_value: float
    sites: tuple[str, ...]
    panels: int
    observed: float
    confidence: float
    notes: tuple[str, ...]


def floored(value: float, prop: Property, *, retention: bool = False) -> float:
    """A value rounded to the side that promises less, to 0.01 or the property's wider step."""
    if not np.isfinite(value):
        return float("nan")
    step = Decimal(str(FINEST if retention else max(prop.step, FINEST)))
    side = ROUND_CEILING if prop.higher_is_better is False and not retention else ROUND_FLOOR
    return float((Decimal(repr(round(float(value), 12))) / step).to_integral_value(side) * step)


def reading_draws(
    fit: Fit, months: float, *, retention: bool = False
) -> dict[str, dict[str, Array]]:
    """Draws (D,) of the reading of each formulation at each site and, as "all", in their mean."""
    found: dict[str, dict[str, Array]] = {}
    for (site, formulation), drawn in fit.draws([months], retention=retention).items():
        found.setdefault(formulation, {})[site] = drawn["reading"][0]
    return {
        name: {**each, ALL_SITES: np.mean(list(each.values()), axis=0)}
        for name, each in found.items()
    }


@dataclass(frozen=True)
class _Figures:
    """What a basis gives, unrounded: `value` is rounded, `at_sites` each site's own."""

    value: float
    estimate: float
    bound: float
    at_sites: Mapping[str, float]
    panels: int
    notes: tuple[str, ...] = ()


def propose(
    evidence: Evidence,
    formulation: str,
    basis: str,
    months: float = 36.0,
    *,
    retention: bool = False,
    rated: float | None = None,
    draws: Mapping[str, Mapping[str, Array]] | None = None,
) -> Proposal:
    """The value that may be claimed on a basis, at a month of exposure.

    rated: value that a body issued, for that basis, taken as it is. draws: of `reading_draws`,
    where they are made already. CallError for a formulation that the fit does not have, and for a
    basis or property that gives no such value; ModelError where the evidence of a basis is missing.
    """
    prop, sites = evidence.fit.measured, evidence.sites(formulation)
    known = sorted({one.formulation for one in evidence.fit.series})
    require(bool(sites), "formulation", formulation, known)
    require(basis in CLAIM_BASES, "basis", basis, CLAIM_BASES)
    require(prop.higher_is_better is not None, "property", prop.name, "one that has a better side")
    require((basis == "rated") == (rated is not None), "value", rated,
            "the value that the body issued, where it is claimed as rated only")  # fmt: skip
    ratio = basis in (*PROJECTED, "measured") and prop.scale == "ratio"
    require(not retention or (ratio and bool(prop.higher_is_better)), "retention",
            f"{prop.name} as {basis}", "a ratio scale, higher is better")  # fmt: skip
    if rated is not None:
        found = _Figures(rated, rated, float("nan"), {}, 0)
    elif basis in PROJECTED:
        drawn = draws or reading_draws(evidence.fit, months, retention=retention)
        found = _projected(evidence, formulation, months, drawn[formulation])
    else:
        found = _read(evidence, formulation, basis, months, retention=retention)
    if basis in (*PROJECTED, "measured"):
        found = _of_the_worst_batch(evidence.fit, formulation, found, retention=retention)
    at_sites = found.at_sites
    worst = (min if prop.higher_is_better else max)(at_sites, key=lambda k: at_sites[k], default="")
    return Proposal(
        formulation, prop.name + RETENTION * retention, basis, months,
        found.value if rated is not None else floored(found.value, prop, retention=retention),
        found.bound, found.estimate, worst,
        floored(at_sites.get(worst, float("nan")), prop, retention=retention), sites, found.panels,
        float(evidence.of(formulation).groupby("site")["months"].max().min()), CONFIDENCE,
        found.notes,
    )  # fmt: skip


def _projected(
    evidence: Evidence, formulation: str, months: float, drawn: Mapping[str, Array]
) -> _Figures:
    fit, prop = evidence.fit, evidence.fit.measured
    tail = 1 - CONFIDENCE if prop.higher_is_better else CONFIDENCE
    bounds = {site: float(np.quantile(one, tail)) for site, one in drawn.items()}
    bound, estimate = bounds.pop(ALL_SITES), float(np.median(drawn[ALL_SITES]))
    seen = fit.standings(months)
    known = {
        site: narrow_enough(seen[site, formulation], float(usual_width(drawn[site])), prop)
        for site in bounds
    }
    if any(one.status == CANNOT for one in known.values()):
        bound = estimate = float("nan")
    notes = together(known).notes[len(known) > 1 :]  # that it is a mean of sites is said anyway
    panels = int(evidence.of(formulation)["panel"].nunique())
    return _Figures(bound, estimate, bound, bounds, panels, notes)


def _of_the_worst_batch(
    fit: Fit, formulation: str, found: _Figures, *, retention: bool
) -> _Figures:
    """The value as far lower as the worst of batches that may not be averaged stands."""
    batches = batches_of(fit, formulation)
    if batches is None or batches["verdict"] != APART:
        return found
    worst, mean = batches["worst_estimate"], batches["estimate"]
    value = found.value * worst / mean if retention else found.value + worst - mean
    note = (
        f"batches of paint differ ({batches['groups']}): the value is that of {batches['worst']}, "
        "which does worst"
    )
    return replace(found, value=value, notes=(*found.notes, note))


def _read(
    evidence: Evidence, formulation: str, basis: str, months: float, *, retention: bool
) -> _Figures:
    """Figures from one reading a panel of what the basis speaks of."""
    fit, rule = evidence.fit, None
    if basis == "measured":
        read = measured(evidence, formulation, months, retention=retention)
    elif basis == "laboratory-aged":
        read = _told(fit, laboratory(evidence, formulation), formulation)
    else:
        name = fit.measured.name
        require(name == "solar_reflectance", "property", name, "solar_reflectance")
        rule, read = _default(), first_read(evidence, formulation)
    if read.empty:
        raise ModelError(f"{formulation}: nothing was read that a claim as {basis} could rest on")
    each = read.groupby("site")["value"].mean()
    means = dict(zip(map(str, each.index), each.tolist(), strict=True))
    mean, bound = mean_and_bound(read, fit.measured)
    if rule is None:
        return _Figures(mean, mean, bound, means, read["panel"].nunique())
    aged = float(rule.reflectance(mean))
    at_sites = {site: float(rule.reflectance(one)) for site, one in means.items()}
    return _Figures(aged, aged, float("nan"), at_sites, read["panel"].nunique(), (str(rule),))


def measured(
    evidence: Evidence,
    formulation: str,
    months: float,
    *,
    retention: bool = False,
    sites: Sequence[str] = (),
) -> pd.DataFrame:
    """Readings around a claimed month, one a panel, as values of what is told.

    retention: over the panel's own reading when new. sites: those of the formulation where none is
    named. Empty where any of them lacks such readings.
    """
    wanted = set(sites or evidence.sites(formulation))
    near = evidence.around(formulation, months, LIMITS["window"])
    near = _told(evidence.fit, near[near["site"].isin(wanted)], formulation)
    if retention:
        start = _told(evidence.fit, first_read(evidence, formulation), formulation)
        initial = near["panel"].map(start.set_index("panel")["value"]).astype("float64")
        near = near.assign(value=near["value"] / initial).dropna(subset="value")
    return near if set(near["site"]) == wanted else near[:0]


def first_read(evidence: Evidence, formulation: str) -> pd.DataFrame:
    """First reading of each panel that was read when new."""
    rows = evidence.of(formulation).sort_values("at")
    return rows[rows["months"] <= LIMITS["new"]].drop_duplicates("panel")


def mean_and_bound(read: pd.DataFrame, prop: Property) -> tuple[float, float]:
    """Mean over sites of the means over panels (site, value), and its one-sided bound.

    The bound is nan where a site has one panel.
    """
    from scipy.special import stdtrit

    each = read.groupby("site")["value"].agg(["mean", "var", "size"])
    mean = float(each["mean"].mean())
    parts = (each["var"] / each["size"]).to_numpy() / len(each) ** 2
    if not np.isfinite(parts).all():
        return mean, float("nan")
    variance = parts.sum()
    if variance == 0:
        return mean, mean
    degrees = variance**2 / (parts**2 / (each["size"].to_numpy() - 1)).sum()
    reach = float(stdtrit(degrees, CONFIDENCE)) * variance**0.5
    return mean, float(mean + reach if prop.higher_is_better is False else mean - reach)


def _told(fit: Fit, read: pd.DataFrame, formulation: str) -> pd.DataFrame:
    names = [formulation] * len(read)
    return read.assign(value=fit.of_readings(read["value"].to_numpy(), names))


def _default() -> DefaultAged:
    wanted = (DEFAULT_PRODUCT, DEFAULT_EDITION)
    return next(one for one in default_aged() if (one.product, one.edition) == wanted)
