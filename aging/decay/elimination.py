"""The linear-Gaussian half of the model, solved exactly at every node of the grid.

Reading of panel p (group g) at visit v, exposure time t, dryness x:

    y = a_g + u_p - (L_g + w_p) phi(t) - c_g L0 pace(t) - d_g slow(t) - m_g x + nu_v + xi_gv + e

    and, where the panel was washed first, the weather's part left out and r_g phi(t) given back:
    r is the removable part of the loss, the rest is permanent.

    (a, L, c, d, m, r)_g = site level + group deviation     deviations N(0, between^2),
                                              of all but a (apart between)^2
    u, w ~ N(0, panel^2)      xi_gv ~ N(0, group_visit^2)      e ~ N(0, residual^2)
    nu = wander + season (site-wide, covariance exp(-gap/length) and exp(-2 sin^2(pi gap/year)))
         + visit effect (site-wide, heavy-tailed)

Panels are integrated out first, then xi, then the groups, leaving a system of visits and site
levels whose size grows with neither; the cost is linear in both. Panels read at the same visits
share their matrices. Notation: N nodes, M kinds of them, K panel patterns, A group patterns,
G groups, V visits, Q = 6 path coefficients. Each step keeps what draws are made of and its part of
-2 log likelihood.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from aging.decay.nodes import Grid
from aging.decay.priors import Priors
from aging.decay.site import Array, Index, SiteReadings
from aging.decay.spreads import PanelSpreads

ROOM = 4_000_000  # numbers in the matrices of all groups at the nodes solved at once
COEFFICIENTS = ("initial", "loss", "pace", "drift", "dryness", "removable")


@dataclass(frozen=True)
class Panels:
    """Panels given their group's visit means."""

    design: Array  # M, K, V, 2, over the variance of the readings
    cov: Array  # M, K, 2, 2
    weight: Array  # M, K, V, V: precision of the visit means that one panel carries
    pattern: Index  # of each panel
    misfit: Array  # M


@dataclass(frozen=True)
class Visits:
    """A group's visit means given its path and the site's visits."""

    weight: Array  # M, A, V, V: precision from the panels
    pull: Array  # M, G, V
    cov: Array  # M, A, V, V
    pattern: Index  # of each group
    shares: Array  # A: groups in each pattern
    onward: Array  # M, A, V, V: precision after xi is integrated out
    onward_pull: Array  # M, G, V
    misfit: Array


@dataclass(frozen=True)
class Groups:
    """Group deviations given the site's levels and visits."""

    cov: Array  # N, A, Q, Q
    total: Array  # N, V, V: precision of the site's common course
    total_pull: Array  # N, V
    misfit: Array


@dataclass(frozen=True)
class Shared:
    """Visits, then site levels (V + Q): posterior mean and Cholesky factor of the precision."""

    mean: Array
    root: Array
    visit_cov: Array  # N, V, V: prior covariance of nu
    misfit: Array


@dataclass(frozen=True)
class Solution:
    """The solved half: evidence (N,), the design (N, V, Q) and the four steps.

    Nodes that differ in slow loss or in how far formulations part share the first two steps, which
    are solved once for each kind: `kind` (N,) is the place of a node among them.
    """

    log_likelihood: Array
    design: Array
    kind: Index
    panels: Panels
    visits: Visits
    groups: Groups
    shared: Shared


def _t(matrix: Array) -> Array:
    return np.swapaxes(matrix, -1, -2)


def times(matrix: Array, vector: Array) -> Array:
    """Matrix by vector over leading axes."""
    return (matrix @ vector[..., None])[..., 0]


def _each(matrix: Array, pattern: Index, vector: Array) -> Array:
    """Matrix (N, A, i, j) of each group's pattern by the group's vector (N, G, j)."""
    found = np.empty((*vector.shape[:2], matrix.shape[-2]))
    for place in range(matrix.shape[1]):
        rows = pattern == place
        found[:, rows] = vector[:, rows] @ _t(matrix[:, place])
    return found


def _logdet(matrix: Array) -> Array:
    return np.linalg.slogdet(matrix)[1]


def path_design(grid: Grid, months: Array, dryness: Array, washed: Array, priors: Priors) -> Array:
    """Columns of COEFFICIENTS at times (V,) for every node, (N, V, Q)."""
    phi, pace = grid.curve(months)
    grown = grow_in(priors, months)
    columns = (
        np.ones_like(phi), -phi, -priors.value("loss") * pace, -grid.slow(months),
        -dryness * (1 - washed) * grown + 0 * phi, washed * phi,
    )  # fmt: skip
    return np.stack(columns, axis=-1)


def grow_in(priors: Priors, months: Array) -> Array:
    """Share of the weather's effect that is there at a time: it cannot act on a clean panel."""
    return -np.expm1(-np.maximum(months, 0.0) / priors.value("grow_in"))


def weather_cov(priors: Priors, months: Array, other: Array) -> Array:
    """Prior covariance of the site's wander and season between two sets of times."""
    gap = np.abs(months[:, None] - other[None, :])
    wander = priors.value("wander") ** 2 * np.exp(-gap / priors.value("wander_length"))
    turn = np.sin(np.pi * gap / priors.value("year")) ** 2
    season = priors.value("season") ** 2 * np.exp(-2 * turn)
    grown, also = grow_in(priors, months), grow_in(priors, other)
    return grown[:, None] * also[None, :] * (wander + season)


def in_parts(site: SiteReadings, grid: Grid) -> Iterator[Grid]:
    """The grid a few nodes at a time, so that matrices of many groups need little memory."""
    step = max(1, ROOM // (site.groups * site.months.size**2))
    for first in range(0, grid.size, step):
        yield grid.take(np.arange(first, min(first + step, grid.size)))


def evidence(
    site: SiteReadings, grid: Grid, priors: Priors, spreads: PanelSpreads, calm: Array
) -> Array:
    """Log likelihood (N,) alone; see `eliminate`."""
    parts = in_parts(site, grid)
    return np.concatenate(
        [eliminate(site, part, priors, spreads, calm).log_likelihood for part in parts]
    )


def eliminate(
    site: SiteReadings, grid: Grid, priors: Priors, spreads: PanelSpreads, calm: Array
) -> Solution:
    """Solve the linear half at every node. `calm` (V,) is the precision factor of each visit."""
    design = path_design(grid, site.months, site.dryness, site.washed, priors)
    alike = np.column_stack([grid.course, grid.parameter, grid.panel_scale, grid.group_visit_sd])
    _, first, kind = np.unique(alike, axis=0, return_index=True, return_inverse=True)
    panels = _panels(site, design[first, :, 1], spreads, grid.panel_scale[first])
    visits = _visits(site, panels, grid.group_visit_sd[first])
    groups = _groups(visits, kind, design, between_spread(priors, grid))
    shared = _shared(site, groups, design, grid, priors, calm)
    count = np.count_nonzero(~np.isnan(site.values))
    misfit = (panels.misfit + visits.misfit)[kind] + groups.misfit + shared.misfit
    log_likelihood = -(misfit + count * np.log(2 * np.pi)) / 2
    return Solution(log_likelihood, design, kind, panels, visits, groups, shared)


def _panels(site: SiteReadings, loss: Array, spreads: PanelSpreads, scale: Array) -> Panels:
    read = ~np.isnan(site.values)
    values = np.where(read, site.values, 0.0)
    masks, pattern = np.unique(read, axis=0, return_inverse=True)
    pattern = pattern.ravel()
    seen = masks[:, None, :] * np.ones_like(loss)  # K, N, V
    design = np.stack([seen, seen * loss], axis=-1).swapaxes(0, 1)
    prior = np.diag([spreads.initial**2, spreads.loss**2]) * (scale**2)[:, None, None, None]
    noise = (scale * spreads.residual)[:, None] ** 2 + site.error**2  # N, V
    scaled = design / noise[:, None, :, None]
    gram = _t(design) @ scaled
    cov = np.linalg.inv(np.linalg.inv(prior) + gram)
    diagonal = np.eye(site.months.size) * (masks / noise[:, None])[:, :, None, :]
    weight = diagonal - scaled @ cov @ _t(scaled)
    log_det = np.log(noise) @ masks.T + _logdet(np.eye(2) + gram @ prior)
    square = [values[pattern == k].T @ values[pattern == k] for k in range(len(masks))]
    misfit = log_det @ np.bincount(pattern) + np.einsum("nkij,kij->n", weight, np.stack(square))
    design = scaled
    return Panels(design, cov, weight, pattern, misfit)


def _visits(site: SiteReadings, panels: Panels, group_visit_sd: Array) -> Visits:
    values = np.nan_to_num(site.values)
    kinds, size = panels.weight.shape[1], site.months.size
    counts = np.zeros((site.groups, kinds))
    sums = np.zeros((site.groups, kinds, size))
    np.add.at(counts, (site.group, panels.pattern), 1.0)
    np.add.at(sums, (site.group, panels.pattern), values)
    patterns, pattern = np.unique(counts, axis=0, return_inverse=True)
    pattern = pattern.ravel()
    shares = np.bincount(pattern).astype(np.float64)
    weight = np.tensordot(panels.weight, patterns, (1, 1)).transpose(0, 3, 1, 2)
    pull = np.einsum("nkij,gkj->ngi", panels.weight, sums, optimize=True)
    variance = group_visit_sd[:, None, None] ** 2
    precision = weight + np.eye(size) / variance[..., None]
    cov = np.linalg.inv(precision)
    smooth = _each(cov, pattern, pull)
    log_det = _logdet(precision) @ shares + site.groups * size * np.log(variance[:, 0, 0])
    onward = weight @ cov / variance[..., None]
    return Visits(
        weight, pull, cov, pattern, shares, (onward + _t(onward)) / 2, smooth / variance,
        log_det - (pull * smooth).sum((1, 2)),
    )  # fmt: skip


def between_spread(priors: Priors, grid: Grid) -> Array:
    """Spread of the groups around their site's level, (N, Q)."""
    spread = np.tile([priors.value(f"{name}_between") for name in COEFFICIENTS[:3]], (grid.size, 1))
    drift = grid.drift_sd * priors.value("drift_between_ratio")
    rest = np.tile([priors.value(f"{name}_between") for name in COEFFICIENTS[4:]], (grid.size, 1))
    spreads = np.column_stack([spread, drift, rest])
    spreads[:, 1:] *= grid.apart[:, None]  # new paint differs for reasons of its own
    return spreads


def _groups(visits: Visits, kind: Index, design: Array, spread: Array) -> Groups:
    wide, onward, onward_pull = design[:, None], visits.onward[kind], visits.onward_pull[kind]
    reach = onward @ wide
    precision = _t(wide) @ reach
    diagonal = np.arange(spread.shape[1])
    precision[..., diagonal, diagonal] += 1 / spread[:, None] ** 2
    cov = np.linalg.inv(precision)
    pull = onward_pull @ design
    fitted = _each(cov, visits.pattern, pull)
    log_det = _logdet(precision) @ visits.shares
    log_det = log_det + 2 * visits.shares.sum() * np.log(spread).sum(-1)
    rest = onward - reach @ cov @ _t(reach)
    total = np.tensordot(rest, visits.shares, (1, 0))
    kinds = np.equal.outer(np.arange(visits.shares.size), visits.pattern).astype(np.float64)
    taken = times(reach, kinds @ fitted).sum(1)
    misfit = log_det - (pull * fitted).sum((1, 2))
    return Groups(cov, total, onward_pull.sum(1) - taken, misfit)


def site_level(priors: Priors, grid: Grid) -> tuple[Array, Array]:
    """Prior centre (N, Q) and covariance (N, Q, Q) of a site's level; the grid carries its pace."""
    usual = [0.0 if name == "pace" else priors.value(name) for name in COEFFICIENTS]
    centre = np.tile(usual, (grid.size, 1))
    spread = [1e-4 if name == "pace" else priors.spread(name) for name in COEFFICIENTS]
    spreads = np.tile(spread, (grid.size, 1))
    loss, drift = COEFFICIENTS.index("loss"), COEFFICIENTS.index("drift")
    centre[:, drift], spreads[:, drift] = grid.drift, grid.drift_sd
    correlation = np.eye(len(spread))
    correlation[loss, drift] = correlation[drift, loss] = priors.value("loss_drift")
    return centre, spreads[:, :, None] * correlation * spreads[:, None, :]


def _shared(  # noqa: PLR0917 - the model has this many parts
    site: SiteReadings, groups: Groups, design: Array, grid: Grid, priors: Priors, calm: Array
) -> Shared:
    size = site.months.size
    eye = np.broadcast_to(np.eye(size), (grid.size, size, size))
    columns = np.concatenate([eye, design], axis=-1)
    unwashed = 1 - site.washed
    weather = weather_cov(priors, site.months, site.months) * np.outer(unwashed, unwashed)
    visit_sd, sized = np.unique(grid.visit_sd, return_inverse=True)
    visit_cov = visit_sd[:, None, None] ** 2 * np.diag(1 / calm) + weather
    if site.offset is not None:
        visit_cov = visit_cov + site.offset
    slow = np.column_stack([grid.drift, grid.drift_sd])
    _, first, leveled = np.unique(slow, axis=0, return_index=True, return_inverse=True)
    centre, level_cov = site_level(priors, grid.take(first))
    level_precision = np.linalg.inv(level_cov)
    prior_pull = times(level_precision, centre)
    system = _t(columns) @ groups.total @ columns
    right = times(_t(columns), groups.total_pull)
    system[:, :size, :size] += np.linalg.inv(visit_cov)[sized]
    system[:, size:, size:] += level_precision[leveled]
    right[:, size:] += prior_pull[leveled]
    root = np.linalg.cholesky(system)
    mean = np.linalg.solve(system, right[..., None])[..., 0]
    log_det = 2 * np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(-1)
    log_det = log_det + _logdet(visit_cov)[sized]
    prior = _logdet(level_cov) + (prior_pull * centre).sum(-1)
    misfit = log_det + prior[leveled] - (right * mean).sum(-1)
    return Shared(mean, root, visit_cov[sized], misfit)
