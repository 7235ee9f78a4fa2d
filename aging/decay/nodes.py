"""The grid of what is not linear: course, its parameter, visit spreads, kind of slow loss.

Given one node, a site's readings are jointly Gaussian in everything else (elimination.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from scipy.special import expit

from aging.decay.paths import COURSES
from aging.decay.priors import Priors
from aging.decay.site import Array, Index

RATE_POINTS, FINE_POINTS = 11, 6
EDGE, REACH = 2.4, 2.6  # in standard deviations: of the prior, of the weight that a grid found
VISIT_POINTS, VISIT_EDGE = (3, 4), (1.5, 2.0)  # of the visits' spread, for the search and the fit
APART_POINTS, APART_EDGE, APART_REACH = 3, 1.5, 1.5  # of how far formulations part
TWO_POINTS, FARTHEST = (2, 1.0), 2.5  # for the fit: a mean less and plus a standard deviation
FEW_ONSETS, ONSETS = 4, (8, 12)  # of a late loss: coarse grid, then for the search and the fit
PANEL_SCALES = (1 / 1.15, 1.15)  # around the spreads that replicates show
COMMON_SHARES = (0.5, 0.95)  # of a visit's variance that all panels of the site share
SCALARS = ("courses", "span", "late_width")


@dataclass(frozen=True)
class Grid:
    """Nodes (N,): course index, its parameter, spreads, and the log of the prior weight.

    Slow loss runs with time, or begins late: onset, and the prior mass it stands for among onsets,
    are NaN where it runs with time; drift and drift_sd are centre and spread of its coefficient at
    the site.
    visit_sd is shared by all panels of the site, group_visit_sd by the panels of one group;
    panel_scale multiplies the spreads of replicates; at and visit_at are the parameter and the
    visits' spread in standard deviations of their log prior. apart multiplies the spreads of
    formulations around their site, apart_at is its place in standard deviations likewise.
    """

    courses: tuple[str, ...]
    span: float
    late_width: float
    course: Index
    parameter: Array
    visit_sd: Array
    group_visit_sd: Array
    drift: Array
    drift_sd: Array
    onset: Array
    onset_mass: Array
    panel_scale: Array
    at: Array
    visit_at: Array
    apart: Array
    apart_at: Array
    log_prior: Array

    @property
    def size(self) -> int:
        """Number of nodes, N."""
        return int(self.course.size)

    def take(self, keep: Index) -> Grid:
        """The nodes at positions `keep`."""
        arrays = [f.name for f in fields(self) if f.name not in SCALARS]
        return replace(self, **{name: getattr(self, name)[keep] for name in arrays})

    def curve(self, months: Array) -> tuple[Array, Array]:
        """Values phi and pace of every node at `months`, each (N, V)."""
        phi = np.empty((self.course.size, months.size))
        pace = np.empty_like(phi)
        for i, name in enumerate(self.courses):
            rows = self.course == i
            phi[rows] = COURSES[name].phi(self.parameter[rows], months, self.span)
            pace[rows] = COURSES[name].pace(self.parameter[rows], months, self.span)
        return phi, pace

    def slow(self, months: Array) -> Array:
        """How far slow loss has run (N, V): t, or a late logistic rise, equal at span."""
        onset = np.nan_to_num(self.onset)[:, None] / self.late_width

        def risen(at: Array) -> Array:
            return expit(np.maximum(at, 0.0) / self.late_width - onset) - expit(-onset)

        late = self.span * risen(months) / risen(np.array([self.span]))
        return np.where(np.isnan(self.onset)[:, None], months, late)

    def weights(self, log_likelihood: Array, course_weight: Array) -> Array:
        """Posterior weights (N,): evidence within a course, `course_weight` (C,) between courses.

        Early readings cannot tell courses apart, and their evidence prefers the wrong one, so
        that the weight of a course must come from elsewhere (foresight.py).
        """
        log_weight = self.log_prior + log_likelihood
        weight = np.zeros_like(log_weight)
        for i in np.unique(self.course):
            rows = self.course == i
            share = np.exp(log_weight[rows] - log_weight[rows].max())
            weight[rows] = course_weight[i] * share / share.sum()
        return weight / weight.sum()


def _onset_edges(grid: Grid, weight: Array, cells: int) -> Array:
    """Edges (cells + 1,), in shares of the prior: cells alike in the mean of prior and weight."""
    even, late = np.linspace(0, 1, cells + 1), ~np.isnan(grid.onset)
    if weight[late].sum() == 0:
        return even
    _, first, place = np.unique(grid.onset[late], return_index=True, return_inverse=True)
    found = np.bincount(place, weight[late]).cumsum()
    before = grid.onset_mass[late][first].cumsum()
    mean = (before + found / found[-1]) / 2
    return np.interp(even, np.append(0.0, mean), np.append(0.0, before))


def _slow_losses(priors: Priors, onset_edges: Array, *, search: bool) -> Array:
    """Centre, spread, onset, its mass and log weight of every kind of slow loss (K, 5).

    A search has one that runs with time, the wide one.
    """
    late = priors.value("late_share")
    steady = ["drift_wide"] if search else ["drift", "drift_wide"]
    kinds = [(name, np.nan, np.nan, (1 - late) / len(steady)) for name in steady]
    if late > 0:
        middle, mass = (onset_edges[1:] + onset_edges[:-1]) / 2, np.diff(onset_edges)
        onset = priors.value("late_onset") + priors.spread("late_onset") * 12**0.5 * (middle - 0.5)
        kinds += [("late", at, its, late * its) for at, its in zip(onset, mass, strict=True)]
    return np.array([
        (priors.value(name), priors.spread(name), at, its, np.log(share))
        for name, at, its, share in kinds
    ])  # fmt: skip


def _lay(
    priors: Priors, rates: Sequence[Array], visits: Array, apart: Array, onset_edges: Array,
    *, search: bool,
) -> Grid:  # fmt: skip
    """Grid with standardised log parameters `rates` (one array a course) and log visit spreads.

    The places `apart` of how far formulations differ alternate over the grid like the squares of a
    chessboard, and so does, in a search, the share of a visit that is common; a search leaves the
    replicates' spreads as they are.
    """
    slow = _slow_losses(priors, onset_edges, search=search)
    scales = np.array((1.0,) if search else PANEL_SCALES)
    sides = len(rates), rates[0].size, visits.size, len(COMMON_SHARES), len(slow), scales.size
    place = np.indices(sides).reshape(len(sides), -1)
    if search:
        place = place[:, place[1:].sum(0) % 2 == 0]
    course, r, v, c, k, scale = place
    centre, log_sd = np.array([priors.parameter(name) for name in priors.courses])[course].T
    at, visit, common = np.stack(rates)[course, r], visits[v], np.array(COMMON_SHARES)[c]
    visit_sd = priors.value("visit") * np.exp(priors.spread("visit") * visit)
    far = apart[(r + (v + c if search else k)) % apart.size]
    drift, drift_sd, onset, onset_mass, log_share = slow[k].T
    return Grid(
        tuple(priors.courses), priors.value("span"), priors.value("late_width"),
        course, parameter=centre * np.exp(log_sd * at),
        visit_sd=visit_sd * common**0.5, group_visit_sd=visit_sd * (1 - common) ** 0.5,
        drift=drift, drift_sd=drift_sd, onset=onset, onset_mass=onset_mass,
        panel_scale=scales[scale], at=at, visit_at=visit,
        apart=priors.value("apart") * np.exp(priors.spread("apart") * far), apart_at=far,
        log_prior=log_share - (at**2 + visit**2 + far**2) / 2,
    )  # fmt: skip


def coarse_grid(priors: Priors) -> Grid:
    """Nodes over the whole prior, for the search; N about seven hundred."""
    z = np.linspace(-EDGE, EDGE, RATE_POINTS)
    visits = np.linspace(-VISIT_EDGE[0], VISIT_EDGE[0], VISIT_POINTS[0])
    apart = np.linspace(-APART_EDGE, APART_EDGE, APART_POINTS)
    onset_edges = np.linspace(0, 1, FEW_ONSETS + 1)
    return _lay(priors, [z] * len(priors.courses), visits, apart, onset_edges, search=True)


def finer_grid(priors: Priors, grid: Grid, weight: Array, *, search: bool) -> Grid:
    """Nodes where the weight of a coarser grid lies, course by course."""
    fit = int(not search)
    rates = []
    for i in range(len(grid.courses)):
        rows = grid.course == i
        rates.append(_around(grid.at[rows], weight[rows], FINE_POINTS, EDGE, REACH))
    edge = VISIT_EDGE[fit]
    visits = _around(grid.visit_at, weight, VISIT_POINTS[fit], edge, edge)
    points, reach = (APART_POINTS, APART_REACH) if search else TWO_POINTS
    apart = _around(grid.apart_at, weight, points, FARTHEST, reach)
    onset_edges = _onset_edges(grid, weight, ONSETS[fit])
    return _lay(priors, rates, visits, apart, onset_edges, search=search)


def _around(at: Array, weight: Array, points: int, edge: float, reach: float) -> Array:
    """Points over the bulk of weighted positions, no narrower than a third of their spacing."""
    share = weight / weight.sum()
    mean = float(share @ at)
    spacing = float(at.max() - at.min()) / max(np.unique(at).size - 1, 1)
    sd = max(float(share @ (at - mean) ** 2) ** 0.5, spacing / 3)
    low, high = max(mean - reach * sd, -edge), min(mean + reach * sd, edge)
    return np.linspace(low, high, points)
