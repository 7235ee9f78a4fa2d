"""The linear-Gaussian half of the model, solved exactly at every node of the grid.

Reading of panel p (group g) at visit v, exposure time t, dryness x:

    y = a_g + u_p - (L_g + w_p) phi(t) - c_g L0 pace(t) - d_g t - m_g x + nu_v + xi_gv + e

    (a, L, c, d, m)_g = site level + group deviation     deviations N(0, between^2)
    u, w ~ N(0, panel^2)      xi_gv ~ N(0, group_visit^2)      e ~ N(0, residual^2)
    nu = wander (site-wide, exponential covariance in t) + visit effect (site-wide, heavy-tailed)

Panels are integrated out first, then xi, then the groups, leaving a system of visits and site
levels whose size does not grow with panels or groups; the cost is linear in both. Panels read at
the same visits share their matrices. Notation below: N nodes, K panel patterns, A group patterns,
G groups, V visits, Q = 5 path coefficients.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aging.decay.nodes import Grid
from aging.decay.priors import Priors
from aging.decay.site import Array, Index, SiteReadings
from aging.decay.spreads import PanelSpreads

COEFFICIENTS = ("initial", "loss", "pace", "drift", "dryness")


@dataclass(frozen=True)
class Blocks:
    """What the elimination leaves behind: evidence (N,) and the pieces that draws are made of."""

    log_likelihood: Array
    shared_mean: Array  # N, V+Q: visits, then site levels
    shared_root: Array  # N, V+Q, V+Q: Cholesky factor of their precision
    visit_cov: Array  # N, V, V: prior covariance of nu
    design: Array  # N, V, Q
    group_weight: Array  # N, A, V, V
    group_pull: Array  # N, G, V
    group_cov: Array  # N, A, Q, Q
    visit_weight: Array  # N, A, V, V: panels' precision of the group's visit means
    visit_pull: Array  # N, G, V
    visit_cov_given: Array  # N, A, V, V
    panel_design: Array  # N, K, V, 2
    panel_cov: Array  # N, K, 2, 2
    pattern_of_group: Index
    pattern_of_panel: Index


def _t(matrix: Array) -> Array:
    return np.swapaxes(matrix, -1, -2)


def _logdet(matrix: Array) -> Array:
    return np.linalg.slogdet(matrix)[1]


def path_design(phi: Array, pace: Array, months: Array, dryness: Array, loss: float) -> Array:
    """Columns of COEFFICIENTS at each visit, (N, V, Q), from phi and pace (N, V)."""
    columns = (np.ones_like(phi), -phi, -loss * pace, -months + 0 * phi, -dryness + 0 * phi)
    return np.stack(columns, axis=-1)


def between(priors: Priors, grid: Grid) -> Array:
    """Spread of the groups around their site's level, (N, Q)."""
    ones = np.ones(grid.course.size)
    return np.stack([
        ones * priors.value("initial_between"), ones * priors.value("loss_between"),
        ones * priors.value("pace_between"),
        grid.drift_sd * priors.value("drift_between_ratio"),
        ones * priors.value("dryness_between"),
    ], axis=-1)  # fmt: skip


def _site_level(priors: Priors, grid: Grid) -> tuple[Array, Array]:
    """Prior centre (Q,) and spread (N, Q) of a site's level; the grid itself carries the pace."""
    centre = [priors.value(name) for name in ("initial", "loss", "drift", "dryness")]
    ones = np.ones(grid.course.size)
    spread = np.stack([
        ones * priors.spread("initial"), ones * priors.spread("loss"), ones * 1e-4,
        grid.drift_sd, ones * priors.spread("dryness"),
    ], axis=-1)  # fmt: skip
    return np.array([*centre[:2], 0.0, *centre[2:]]), spread


def wander_cov(priors: Priors, months: Array, other: Array) -> Array:
    """Prior covariance of the site's wander between two sets of times."""
    gap = np.abs(months[:, None] - other[None, :])
    return priors.value("wander") ** 2 * np.exp(-gap / priors.value("wander_length"))


def eliminate(
    site: SiteReadings, grid: Grid, priors: Priors, spreads: PanelSpreads, calm: Array
) -> Blocks:
    """Solve the linear half at every node. `calm` (V,) is the precision factor of each visit."""
    read = ~np.isnan(site.values)
    values = np.where(read, site.values, 0.0)
    nodes, visits = grid.course.size, site.months.size
    eye = np.eye(visits)
    phi, pace = grid.curve(site.months)

    masks, panel_of = np.unique(read, axis=0, return_inverse=True)
    panel_of = panel_of.ravel()
    panel_prior = np.diag([spreads.initial**2, spreads.loss**2])
    reach = np.stack([np.broadcast_to(masks, (nodes, *masks.shape)) * 1.0,
                      -1.0 * masks * phi[:, None, :]], axis=-1)  # fmt: skip
    noise = spreads.residual**2
    gram = _t(reach) @ reach
    panel_cov = np.linalg.inv(noise * np.linalg.inv(panel_prior) + gram)
    weight = (eye * masks[:, None, :] - reach @ panel_cov @ _t(reach)) / noise
    log_det = (masks.sum(1) * np.log(noise) + _logdet(np.eye(2) + gram @ panel_prior / noise)) @ (
        np.bincount(panel_of)
    )
    products = np.stack(
        [values[panel_of == k].T @ values[panel_of == k] for k in range(len(masks))]
    )
    square = np.einsum("nkij,kij->n", weight, products, optimize=True)

    counts = np.zeros((site.groups, len(masks)))
    sums = np.zeros((site.groups, len(masks), visits))
    np.add.at(counts, (site.group, panel_of), 1.0)
    np.add.at(sums, (site.group, panel_of), values)
    patterns, group_of = np.unique(counts, axis=0, return_inverse=True)
    group_of = group_of.ravel()
    shares = np.bincount(group_of).astype(np.float64)

    visit_weight = np.einsum("ak,nkij->naij", patterns, weight, optimize=True)
    visit_pull = np.einsum("nkij,gkj->ngi", weight, sums, optimize=True)
    group_visit = grid.group_visit_sd[:, None, None] ** 2
    precision = visit_weight + eye / group_visit[..., None]
    visit_cov_given = np.linalg.inv(precision)
    smooth = (visit_cov_given[:, group_of] @ visit_pull[..., None])[..., 0]
    square = square - (visit_pull * smooth).sum((1, 2))
    log_det = log_det + _logdet(precision) @ shares
    log_det = log_det + site.groups * visits * np.log(grid.group_visit_sd**2)
    group_pull = smooth / group_visit
    group_weight = visit_weight @ visit_cov_given / group_visit[..., None]
    group_weight = (group_weight + _t(group_weight)) / 2

    design = path_design(phi, pace, site.months, site.dryness, priors.value("loss"))
    wide = design[:, None]
    spread = between(priors, grid)
    reach_g = group_weight @ wide
    precision = _t(wide) @ reach_g
    diagonal = np.arange(len(COEFFICIENTS))
    precision[..., diagonal, diagonal] += 1 / spread[:, None] ** 2
    group_cov = np.linalg.inv(precision)
    pull = group_pull @ design
    fitted = (group_cov[:, group_of] @ pull[..., None])[..., 0]
    square = square - (pull * fitted).sum((1, 2))
    log_det = log_det + _logdet(precision) @ shares + 2 * site.groups * np.log(spread).sum(-1)
    total = np.einsum("a,naij->nij", shares, group_weight - reach_g @ group_cov @ _t(reach_g))
    rest = group_pull.sum(1) - (reach_g[:, group_of] @ fitted[..., None])[..., 0].sum(1)

    columns = np.concatenate([np.broadcast_to(eye, (nodes, visits, visits)), design], axis=-1)
    visit_cov = grid.visit_sd[:, None, None] ** 2 * np.diag(1 / calm) + wander_cov(
        priors, site.months, site.months
    )
    visit_precision = np.linalg.inv(visit_cov)
    centre, level_sd = _site_level(priors, grid)
    system = _t(columns) @ total @ columns
    right = (_t(columns) @ rest[..., None])[..., 0]
    system[:, :visits, :visits] += visit_precision
    levels = np.arange(visits, visits + len(COEFFICIENTS))
    system[:, levels, levels] += 1 / level_sd**2
    right[:, visits:] += centre / level_sd**2
    root = np.linalg.cholesky(system)
    half = np.linalg.solve(root, right[..., None])
    square = square - (half[..., 0] ** 2).sum(-1) + (centre**2 / level_sd**2).sum(-1)
    log_det = log_det + 2 * np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(-1)
    log_det = log_det + _logdet(visit_cov) + 2 * np.log(level_sd).sum(-1)
    constant = read.sum() * np.log(2 * np.pi)
    return Blocks(
        -(square + log_det + constant) / 2, np.linalg.solve(_t(root), half)[..., 0], root,
        visit_cov, design, group_weight, group_pull, group_cov, visit_weight, visit_pull,
        visit_cov_given, reach, panel_cov, group_of, panel_of,
    )  # fmt: skip
