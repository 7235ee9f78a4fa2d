"""The grid of what is not linear: course, its parameter, visit spreads, width of the drift.

Given one node, a site's readings are jointly Gaussian in everything else (elimination.py).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from itertools import product

import numpy as np

from aging.decay.paths import COURSES
from aging.decay.priors import Priors
from aging.decay.site import Array, Index

RATE_POINTS, VISIT_POINTS, EDGE = 14, 4, 2.2
COMMON_SHARES = (0.3, 0.7, 0.93)  # of a visit's variance that all panels of the site share


@dataclass(frozen=True)
class Grid:
    """Nodes (N,): course index, its parameter, spreads, and the log of the prior weight.

    visit_sd is shared by all panels of the site, group_visit_sd by the panels of one group.
    """

    courses: tuple[str, ...]
    span: float
    course: Index
    parameter: Array
    visit_sd: Array
    group_visit_sd: Array
    drift_sd: Array
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

    def weights(self, log_likelihood: Array) -> Array:
        """Posterior weights (N,): evidence within a course, the prior between courses.

        Early readings cannot tell courses apart, and their evidence prefers the wrong one.
        """
        log_weight = self.log_prior + log_likelihood
        weight = np.empty_like(log_weight)
        for i in range(len(self.courses)):
            rows = self.course == i
            share = np.exp(log_weight[rows] - log_weight[rows].max())
            prior = np.exp(self.log_prior[rows]).sum()
            weight[rows] = prior * share / share.sum()
        return weight / weight.sum()


def make_grid(priors: Priors) -> Grid:
    """All nodes of the prior's grid; N about a thousand."""
    z = np.linspace(-EDGE, EDGE, RATE_POINTS)
    zv = np.linspace(-1.6, 1.6, VISIT_POINTS)
    rows = []
    courses = priors.courses
    for i, (name, weight) in enumerate(courses.items()):
        quantity = "exponent" if name == "power" else "rate"
        centre, log_sd = priors.value(quantity), priors.spread(quantity)
        for at, visit, common, drift in product(z, zv, COMMON_SHARES, ("drift", "drift_wide")):
            visit_sd = priors.value("visit") * np.exp(priors.spread("visit") * visit)
            rows.append((
                i, centre * np.exp(log_sd * at), visit_sd * common**0.5,
                visit_sd * (1 - common) ** 0.5, priors.spread(drift),
                np.log(weight) - (at**2 + visit**2) / 2,
            ))  # fmt: skip
    columns = np.array(rows).T
    log_prior = columns[5] - np.log(np.exp(columns[5]).sum())
    return Grid(
        tuple(courses), priors.value("span"), columns[0].astype(np.int64),
        columns[1], columns[2], columns[3], columns[4], log_prior,
    )  # fmt: skip
