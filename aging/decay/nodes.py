"""The grid of what is not linear: course, its parameter, visit spreads, width of the drift.

Given one node, a site's readings are jointly Gaussian in everything else (elimination.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from itertools import product

import numpy as np

from aging.decay.paths import COURSES
from aging.decay.priors import Priors
from aging.decay.site import Array, Index

RATE_POINTS, FINE_POINTS, VISIT_POINTS = 11, 7, 3
EDGE, VISIT_EDGE = 2.4, 1.5  # in standard deviations of the prior
REACH, VISIT_REACH = 2.6, 1.5  # in standard deviations of the weight that a coarser grid found
PANEL_SCALES = (1 / 1.15, 1.15)  # around the spreads that replicates show
COMMON_SHARES = (0.3, 0.7, 0.93)  # of a visit's variance that all panels of the site share


@dataclass(frozen=True)
class Grid:
    """Nodes (N,): course index, its parameter, spreads, and the log of the prior weight.

    visit_sd is shared by all panels of the site, group_visit_sd by the panels of one group;
    panel_scale multiplies the spreads of replicates; at and visit_at are the parameter and the
    visits' spread in standard deviations of their log prior.
    """

    courses: tuple[str, ...]
    span: float
    course: Index
    parameter: Array
    visit_sd: Array
    group_visit_sd: Array
    drift_sd: Array
    panel_scale: Array
    at: Array
    visit_at: Array
    log_prior: Array

    @property
    def size(self) -> int:
        """Number of nodes, N."""
        return int(self.course.size)

    def take(self, keep: Index) -> Grid:
        """The nodes at positions `keep`."""
        arrays = [f.name for f in fields(self) if f.name not in ("courses", "span")]
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


def _lay(priors: Priors, rates: Sequence[Array], visits: Array, scales: Sequence[float]) -> Grid:
    """Grid with standardised log parameters `rates` (one array a course) and log visit spreads."""
    rows = []
    courses = priors.courses
    axes = (visits, COMMON_SHARES, ("drift", "drift_wide"), scales)
    for i, (name, z) in enumerate(zip(courses, rates, strict=True)):
        centre, log_sd = priors.parameter(name)
        for at, visit, common, drift, scale in product(z, *axes):
            visit_sd = priors.value("visit") * np.exp(priors.spread("visit") * visit)
            rows.append((
                i, centre * np.exp(log_sd * at), visit_sd * common**0.5,
                visit_sd * (1 - common) ** 0.5, priors.spread(drift), scale, at, visit,
            ))  # fmt: skip
    course, parameter, common_sd, own_sd, drift_sd, scale, at, visit = np.array(rows).T
    return Grid(
        tuple(courses), priors.value("span"), course.astype(np.int64), parameter, common_sd, own_sd,
        drift_sd, scale, at, visit, -(at**2 + visit**2) / 2,
    )  # fmt: skip


def coarse_grid(priors: Priors) -> Grid:
    """Nodes over the whole prior; N about a thousand."""
    z = np.linspace(-EDGE, EDGE, RATE_POINTS)
    visits = np.linspace(-VISIT_EDGE, VISIT_EDGE, VISIT_POINTS)
    return _lay(priors, [z] * len(priors.courses), visits, (1.0,))


def finer_grid(priors: Priors, grid: Grid, weight: Array) -> Grid:
    """Nodes where the weight of a coarser grid lies, course by course."""
    rates = []
    for i in range(len(grid.courses)):
        rows = grid.course == i
        rates.append(_around(grid.at[rows], weight[rows], FINE_POINTS, EDGE, REACH))
    visits = _around(grid.visit_at, weight, VISIT_POINTS, VISIT_EDGE, VISIT_REACH)
    return _lay(priors, rates, visits, PANEL_SCALES)


def _around(at: Array, weight: Array, points: int, edge: float, reach: float) -> Array:
    """Points over the bulk of weighted positions, no narrower than a third of their spacing."""
    share = weight / weight.sum()
    mean = float(share @ at)
    spacing = float(at.max() - at.min()) / max(np.unique(at).size - 1, 1)
    sd = max(float(share @ (at - mean) ** 2) ** 0.5, spacing / 3)
    low, high = max(mean - reach * sd, -edge), min(mean + reach * sd, edge)
    return np.linspace(low, high, points)
