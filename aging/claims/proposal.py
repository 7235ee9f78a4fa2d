"""Which value may be claimed: one that holds with confidence, rounded to what promises less.

basis            value                                          bound
projected *      floor of the bound                             one-sided bound of the mean over
                                                                sites, target "reading"
measured         floor of the mean read within the window       mean - t(df) SE, of panels
default formula  floor of 0.2 + beta (initial - 0.2)            none: an assumption
laboratory-aged  floor of the mean of soiled panels             mean - t(df) SE, of panels

* and substantiated, internal. SE^2 = sum_s (sd_s^2 / n_s) / S^2 over S sites of n_s panels, df by
Welch and Satterthwaite; what a visit shares moves all panels together and is not in it. Where lower
is better the bound is the upper one and the floor a ceiling. Values are floored to 0.01, or to the
step of the property where that is wider (SRI: 1), after noise of 1e-12 is taken off.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

import numpy as np
import pandas as pd

from aging.claims.evidence import Evidence
from aging.claims.gates import GATES, laboratory
from aging.decay.site import Array
from aging.errors import ModelError, require
from aging.optics.criteria import DefaultAged, default_aged
from aging.projection import ALL_SITES, Fit
from aging.standing import CANNOT, narrow_enough
from aging.vocabulary import Property

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


def propose(
    evidence: Evidence,
    formulation: str,
    basis: str,
    months: float = 36.0,
    *,
    retention: bool = False,
    draws: Mapping[str, Mapping[str, Array]] | None = None,
) -> Proposal:
    """The value that may be claimed on a basis, at a month of exposure.

    draws: of `reading_draws`, where they are made already. CallError for a formulation that the
    fit does not have, and for a basis or property that gives no such value; ModelError where the
    evidence of that basis is missing.
    """
    fit, prop = evidence.fit, evidence.fit.measured
    sites = evidence.sites(formulation)
    require(
        bool(sites), "formulation", formulation, sorted({one.formulation for one in fit.series})
    )
    require(prop.higher_is_better is not None, "property", prop.name, "one that has a better side")
    name = prop.name + RETENTION * retention
    rows = evidence.of(formulation)
    observed = float(rows.groupby("site")["months"].max().min())
    notes: tuple[str, ...] = ()
    if basis in PROJECTED:
        drawn = (draws or reading_draws(fit, months, retention=retention))[formulation]
        tail = CONFIDENCE if prop.higher_is_better is False else 1 - CONFIDENCE
        bounds = {site: float(np.quantile(one, tail)) for site, one in drawn.items()}
        estimate, bound = float(np.median(drawn[ALL_SITES])), bounds.pop(ALL_SITES)
        seen = fit.standings(months)
        known = [narrow_enough(seen[site, formulation], drawn[site], prop) for site in sites]
        notes = tuple(dict.fromkeys(note for one in known for note in one.notes))
        if any(one.status == CANNOT for one in known):
            estimate = bound = float("nan")
        value, panels = bound, int(rows["panel"].nunique())
    else:
        require(not retention, "retention", basis, PROJECTED)
        read = _read(evidence, formulation, basis, months)
        own = float("nan")
        if basis == "default formula":
            require(prop.name == "solar_reflectance", "property", prop.name, "solar_reflectance")
            rule = _default()
            estimate, notes = float(rule.reflectance(read["value"].mean())), (str(rule),)
            means = read.groupby("site")["value"].mean()
            bounds = {str(site): float(rule.reflectance(one)) for site, one in means.items()}
        else:
            estimate, own = mean_and_bound(read, prop)
            bounds = {str(k): float(v) for k, v in read.groupby("site")["value"].mean().items()}
        value, bound, panels = estimate, own, int(read["panel"].nunique())
    worst = (max if prop.higher_is_better is False else min)(bounds, key=lambda k: bounds[k])
    return Proposal(
        formulation, name, basis, months, floored(value, prop, retention=retention), bound,
        estimate, worst, floored(bounds[worst], prop, retention=retention), sites, panels,
        observed, CONFIDENCE, notes,
    )  # fmt: skip


def measured(evidence: Evidence, formulation: str, months: float) -> pd.DataFrame:
    """Readings around a claimed month, one a panel, as values of what is told.

    Empty where any site of the formulation lacks them.
    """
    near = evidence.around(formulation, months, float(GATES.loc["window", "limit"]))
    if set(near["site"]) != set(evidence.sites(formulation)):
        return near[:0]
    return _told(evidence.fit, near, formulation)


def mean_and_bound(read: pd.DataFrame, prop: Property) -> tuple[float, float]:
    """Mean over sites of the means over panels (site, value), and its one-sided bound.

    The bound is nan where no site has two panels.
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


def _read(evidence: Evidence, formulation: str, basis: str, months: float) -> pd.DataFrame:
    """One reading a panel of what the basis speaks of."""
    if basis == "default formula":
        rows = evidence.of(formulation).sort_values("at")
        found = rows[rows["months"] <= float(GATES.loc["new", "limit"])].drop_duplicates("panel")
    elif basis == "laboratory-aged":
        found = _told(evidence.fit, laboratory(evidence, formulation), formulation)
    else:  # a rating speaks of measured values too
        found = measured(evidence, formulation, months)
    if found.empty:
        raise ModelError(f"{formulation}: nothing was read that a claim as {basis} could rest on")
    return found


def _told(fit: Fit, read: pd.DataFrame, formulation: str) -> pd.DataFrame:
    names = [formulation] * len(read)
    return read.assign(value=fit.of_readings(read["value"].to_numpy(), names))


def _default() -> DefaultAged:
    wanted = (DEFAULT_PRODUCT, DEFAULT_EDITION)
    return next(one for one in default_aged() if (one.product, one.edition) == wanted)
