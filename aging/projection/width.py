"""Why the interval is as wide as it is.

The draws of a projection are sums of parts; the share of a source is Cov(its part, sum) / Var(sum),
so that shares add up to 1 (one below 0 offsets the others). Sources:

sites      : what the formulations at a site share of the course: the mean of their paths less drift
curve      : departure from it of the course of the formulation's own panels
drift      : the slow loss that goes on
panels     : few panels stand for the formulation (target "state"), or the residuals of reading
             these panels (target "reading")
visits     : the site's wander and season; in a reading also the new visit's set-up, its dryness
             and what replicates share at it
instrument : uncertain drift of the instrument, 0 where none is known
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import numpy as np
import pandas as pd

from aging.decay.posterior import SitePosterior
from aging.decay.site import Array
from aging.projection.fit import TARGETS, Fit, Key, cases

SOURCES = ("sites", "curve", "drift", "panels", "visits", "instrument")
SHARE_COLUMNS = ("site", "formulation", "property", "months", "target", "source", "share")

Parts = dict[str, Array]  # of each target, (6, D) in the order of SOURCES


def shares(
    fit: Fit,
    months: float = 36.0,
    of: str | None = None,
    parts: Mapping[Key, Parts] | None = None,
) -> pd.DataFrame:
    """Share of each source in the variance at `months` exposed: SHARE_COLUMNS, summing to 1.

    of: a formulation, where the others need not be told. Site "all" is the mean over sites.
    parts: `parts_of` the same fit and months, where they are at hand. Told as a derived property,
    a fit's shares are those of the fitted one.
    """
    parts = parts_of(fit, months) if parts is None else parts
    rows = [
        (label, members[0][1], fit.gathered.property.name, months, target, source, share)
        for label, members in cases_of(parts, of)
        for target in TARGETS
        for source, share in zip(SOURCES, share_of_each(_mean(parts, members, target)), strict=True)
    ]
    return pd.DataFrame(rows, columns=list(SHARE_COLUMNS))


def cases_of(keys: Iterable[Key], of: str | None) -> Iterator[tuple[str, list[Key]]]:
    """`cases` of one formulation, or of all."""
    return cases(key for key in keys if of in {None, key[1]})


def parts_of(fit: Fit, months: float) -> dict[Key, Parts]:
    """Draws of what adds up to each (site, formulation), by target and source."""
    each = {id(one.posterior): one for one in fit.series}
    found = {
        name: _parts(one.posterior, float(one.campaign.clock.at([months])[0]))
        for name, one in each.items()
    }
    return {
        (one.site, one.formulation): {
            target: found[id(one.posterior)][target][:, :, one.group] for target in TARGETS
        }
        for one in fit.series
    }


def _mean(parts: Mapping[Key, Parts], members: list[Key], target: str) -> Array:
    return np.mean([parts[one][target] for one in members], axis=0)


def share_of_each(parts: Array) -> Array:
    """Shares (6,) of the variance of the sum of parts (6, D)."""
    apart = parts - parts.mean(axis=1, keepdims=True)
    total = apart.sum(axis=0)
    return apart @ total / (total @ total)


def _parts(posterior: SitePosterior, time: float) -> Parts:
    """Parts of the state and the reading of one campaign, each (6, D, G)."""
    part = posterior.parts(time)
    node = posterior.node[:, None]
    residual = (posterior.grid.panel_scale[node] * posterior.spreads.residual) ** 2
    residual = residual / posterior.site.panels
    alone = part["repeat"] * residual / (residual + posterior.grid.group_visit_sd[node] ** 2)
    site = part["curve"].mean(axis=1, keepdims=True)
    path = np.broadcast_arrays(site, part["curve"] + part["panels"] - site, part["drift"])
    by_offset = _explained(np.stack(path), _offset(posterior))
    site, own, drift = path - by_offset
    instrument = by_offset.sum(axis=0)
    visits = part["weather"] + part["visit"] + part["dryness"] + part["repeat"] - alone
    sources = {
        "state": (site, own, drift, -part["panels"], part["weather"], instrument),
        "reading": (site, own, drift, alone, visits, instrument),
    }
    return {
        name: posterior.stretch * np.stack(np.broadcast_arrays(*each))
        for name, each in sources.items()
    }


def _offset(posterior: SitePosterior) -> Array:
    """Draws (D, V) of the instrument's offset at each visit given the visit's whole effect."""
    offset = posterior.site.offset
    if offset is None:
        return np.zeros((posterior.node.size, 0))
    gain = np.linalg.solve(posterior.visit_cov, np.broadcast_to(offset, posterior.visit_cov.shape))
    known = np.einsum("dv,dvw->dw", posterior.visits, gain[posterior.node])
    values, vectors = np.linalg.eigh(offset - offset @ gain)
    root = vectors * np.sqrt(np.maximum(values, 0.0))[:, None]
    fresh = np.random.default_rng([posterior.seed, 2]).standard_normal(known.shape)
    return known + np.einsum("dvw,dw->dv", root[posterior.node], fresh)


def _explained(parts: Array, by: Array) -> Array:
    """What a linear regression on draws `by` (D, V) says of parts (S, D, G), less its mean."""
    base = np.linalg.svd(by - by.mean(axis=0), full_matrices=False)[0]
    return base @ (base.T @ parts)
