"""Posterior of one campaign at one site: nodes weighed, then joint draws of every path.

The heavy tail of visits (Student t, TAIL degrees of freedom) enters as a precision factor of each
visit, found by expectation-maximisation over the whole grid, so that one dust storm cannot bend
the curve. Draws are systematic over the nodes, pseudo-random within them with a seed that
depends on nothing but the caller: the same readings give the same digits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aging.decay.elimination import (
    COEFFICIENTS,
    Solution,
    eliminate,
    path_design,
    times,
    wander_cov,
)
from aging.decay.nodes import Grid, make_grid
from aging.decay.priors import Priors
from aging.decay.site import Array, Index, SiteReadings
from aging.decay.spreads import PanelSpreads, panel_spreads

TAIL = 4.0
DRAWS = 4000
ROUNDS = 3
TOP_NODES = 40


@dataclass(frozen=True)
class SitePosterior:
    """Joint draws (D) of one site's paths.

    node : (D,) node of each draw in `grid`;  path : (D, G, Q) coefficients of each group
    panel : (D, G, 2) mean of the group's own panels, initial and loss
    visits : (D, V) shared effect of each visit;  calm : (V,) its precision factor
    """

    site: SiteReadings
    grid: Grid
    priors: Priors
    spreads: PanelSpreads
    node: Index
    path: Array
    panel: Array
    visits: Array
    visit_cov: Array
    calm: Array
    course_weight: dict[str, float]
    seed: int

    def at(self, months: Sequence[float] | Array) -> tuple[Array, Array]:
        """State and reading of each draw and group at times (M,), each (M, D, G).

        State: the group's mean on a day of average dryness. Reading: the mean of the group's own
        panels as one new visit reads it, with that visit's shared weather and set-up error.
        """
        when = np.atleast_1d(np.asarray(months, dtype=np.float64))
        draws, groups = self.path.shape[:2]
        random = np.random.default_rng([self.seed, 1])
        tail = random.standard_t(TAIL, (draws,))
        dry = random.uniform(-1, 1, (draws,)) * 3**0.5 * self.site.dryness_sd
        scatter = random.standard_normal((draws, groups))
        season = random.standard_normal((draws,))
        own = (self.grid.group_visit_sd**2)[self.node, None]
        own = np.sqrt(own + self.spreads.residual**2 / self.site.panels)
        state = np.empty((when.size, draws, groups))
        reading = np.empty_like(state)
        for i, time in enumerate(when):
            phi, pace = self.grid.curve(np.array([time]))
            loss = self.priors.value("loss")
            design = path_design(phi, pace, np.array([time]), np.zeros(1), loss)
            mean = (self.path @ design[self.node, 0, :, None])[..., 0]
            state[i] = mean + (self._wander(time, season))[:, None]
            visit = self.grid.visit_sd[self.node] * tail
            reading[i] = (
                state[i] + self.panel[..., 0] - phi[self.node] * self.panel[..., 1]
                + visit[:, None] - self.path[..., 4] * dry[:, None] + own * scatter
            )  # fmt: skip
        return state, reading

    def _wander(self, time: float, fresh: Array) -> Array:
        """The site's wander at `time` given each draw's visits, (D,)."""
        link = wander_cov(self.priors, np.array([time]), self.site.months)[0]
        weight = np.linalg.solve(self.visit_cov, np.broadcast_to(link, self.visit_cov.shape[:2])[
            ..., None])[..., 0]  # fmt: skip
        rest = np.sqrt(np.maximum(self.priors.value("wander") ** 2 - weight @ link, 0.0))
        known = np.einsum("dv,dv->d", weight[self.node], self.visits)
        return known + rest[self.node] * fresh


def _calm(solved: Solution, grid: Grid, weight: Array, calm: Array) -> Array:
    """New precision factors of the visits from the expected squares of their effects."""
    top = np.argsort(weight)[-TOP_NODES:]
    visits = calm.size
    root = np.linalg.inv(solved.shared.root[top])
    posterior = (np.swapaxes(root, -1, -2) @ root)[:, :visits, :visits]
    iid = grid.visit_sd[top, None] ** 2 / calm
    gain = iid[:, :, None] * np.linalg.inv(solved.shared.visit_cov[top])
    mean = (gain @ solved.shared.mean[top, :visits, None])[..., 0]
    cut = np.einsum(
        "nij,njk,nik->ni", gain, solved.shared.visit_cov[top] - posterior, gain, optimize=True
    )
    square = (mean**2 + iid - cut) / grid.visit_sd[top, None] ** 2
    expected = (weight[top] / weight[top].sum()) @ square
    return np.minimum((TAIL + 1) / (TAIL + expected), 1.3)


def fit_site(
    site: SiteReadings, priors: Priors, *, draws: int = DRAWS, seed: int = 0
) -> SitePosterior:
    """Fit one campaign at one site. Readings, priors and draws share the property's unit."""
    grid = make_grid(priors)
    spreads = panel_spreads(site, priors)
    calm: Array = np.ones(site.months.size)
    weight = grid.weights(grid.log_prior * 0)
    for _ in range(ROUNDS):
        solved = eliminate(site, grid, priors, spreads, calm)
        weight = grid.weights(solved.log_likelihood)
        before, calm = calm, _calm(solved, grid, weight, calm)
        if np.abs(np.log(calm / before)).max(initial=0.0) < 0.1:  # noqa: PLR2004 - a tenth of its log
            break
    position = (np.arange(draws) + 0.5) / draws
    drawn = np.searchsorted(np.cumsum(weight) / weight.sum(), position).clip(0, weight.size - 1)
    kept, node = np.unique(drawn, return_inverse=True)
    node = np.random.default_rng([seed, 2]).permutation(node.ravel())
    chosen = grid.take(kept)
    solved = eliminate(site, chosen, priors, spreads, calm)
    path, panel, visits = _draw(site, solved, spreads, node, np.random.default_rng([seed, 0]))
    shares = {name: float(weight[grid.course == i].sum()) for i, name in enumerate(grid.courses)}
    return SitePosterior(
        site,
        chosen,
        priors,
        spreads,
        node,
        path,
        panel,
        visits,
        solved.shared.visit_cov,
        calm,
        shares,
        seed,
    )


def _draw(
    site: SiteReadings,
    solved: Solution,
    spreads: PanelSpreads,
    node: Index,
    random: np.random.Generator,
) -> tuple[Array, Array, Array]:
    """Draw shared effects, then each group given them, then each panel given its group."""
    draws, visits, size = node.size, site.months.size, len(COEFFICIENTS)
    spread = np.swapaxes(np.linalg.inv(solved.shared.root), -1, -2)
    fresh = random.standard_normal((draws, visits + size))
    shared = solved.shared.mean[node] + times(spread[node], fresh)
    effect, level = shared[:, :visits], shared[:, visits:]
    design = solved.design[node]
    common = effect + times(design, level)
    path = np.empty((draws, site.groups, size))
    panel = np.zeros((draws, site.groups, 2))
    group_root = np.linalg.cholesky(solved.groups.cov)
    visit_root = np.linalg.cholesky(solved.visits.cov)
    panel_root = np.linalg.cholesky(solved.panels.cov) * spreads.residual
    read = ~np.isnan(site.values)
    for g in range(site.groups):
        a = solved.visits.pattern[g]
        pull = solved.visits.onward_pull[node, g] - times(solved.visits.onward[node, a], common)
        pull = np.einsum("dvq,dv->dq", design, pull)
        own = times(solved.groups.cov[node, a], pull)
        own += times(group_root[node, a], random.standard_normal((draws, size)))
        path[:, g] = level + own
        mean = common + times(design, own)
        pull = solved.visits.pull[node, g] - times(solved.visits.weight[node, a], mean)
        mean += times(solved.visits.cov[node, a], pull)
        mean += times(visit_root[node, a], random.standard_normal((draws, visits)))
        members = np.flatnonzero(site.group == g)
        for p in members:
            k = solved.panels.pattern[p]
            apart = np.where(read[p], site.values[p] - mean, 0.0)
            pull = np.einsum("dvi,dv->di", solved.panels.design[node, k], apart)
            one = times(solved.panels.cov[node, k], pull)
            one += times(panel_root[node, k], random.standard_normal((draws, 2)))
            panel[:, g] += one / members.size
    return path, panel, effect
