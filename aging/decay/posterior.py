"""Posterior of one campaign at one site: nodes weighed, then joint draws of every path.

The heavy tail of visits (Student t, TAIL degrees of freedom) enters as a precision factor of each
visit, found by expectation-maximisation over the whole grid, so that one dust storm cannot bend
the curve. Draws are systematic over the nodes, pseudo-random within them with a seed that
depends on nothing but the caller: the same readings give the same digits.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from aging.decay.elimination import (
    COEFFICIENTS,
    ROOM,
    Solution,
    eliminate,
    evidence,
    in_parts,
    path_design,
    weather_cov,
)
from aging.decay.foresight import course_weights, foretold
from aging.decay.nodes import Grid, coarse_grid, finer_grid
from aging.decay.priors import Priors
from aging.decay.site import Array, Index, SiteReadings
from aging.decay.spreads import PanelSpreads, panel_spreads

TAIL = 4.0
DRAWS = 2000
ROUNDS = 2
TOP_NODES = 40
STATE = ("curve", "drift", "weather")
SAMPLE_GROUPS = 20


@dataclass(frozen=True)
class SitePosterior:
    """Joint draws (D) of one site's paths.

    node : (D,) node of each draw in `grid`;  path : (D, G, Q) coefficients of each group
    panel : (D, G, 2) mean of the group's own panels, initial and loss
    visits : (D, V) shared effect of each visit;  calm : (V,) its precision factor
    stretch : factor on the distance of `at`'s draws from their median, 1 unless the past asks
    among : of how many groups these are, and their places there; None where they are all
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
    stretch: float = 1.0
    among: tuple[int, Index] | None = None

    def only_groups(self, keep: Index) -> SitePosterior:
        """The same draws of some groups, listed ascending in `keep`."""
        return replace(
            self, site=self.site.only_groups(keep), path=self.path[:, keep],
            panel=self.panel[:, keep], among=(self.site.groups, keep),
        )  # fmt: skip

    def at(self, months: Sequence[float] | Array) -> tuple[Array, Array]:
        """State and reading of each draw and group at times (M,), each (M, D, G).

        State: the group's mean on a day of average dryness. Reading: the mean of the group's own
        panels as one new visit reads it, with that visit's shared weather and set-up error.
        """
        when = np.atleast_1d(np.asarray(months, dtype=np.float64))
        state = np.empty((when.size, *self.path.shape[:2]))
        reading = np.empty_like(state)
        for i, parts in enumerate(self._parts(when)):
            state[i] = sum(parts.pop(name) for name in STATE)
            reading[i] = sum(parts.values(), start=state[i])
        return self._stretched(state), self._stretched(reading)

    def _stretched(self, drawn: Array) -> Array:
        if self.stretch == 1.0:
            return drawn
        middle = np.median(drawn, axis=1, keepdims=True)
        return middle + self.stretch * (drawn - middle)

    def parts(self, month: float) -> dict[str, Array]:
        """What adds up to the reading at one time, each (D, G), or (D, 1) where groups share it.

        curve and drift: the group's path. weather: the site's wander and season. These are the
        state. panels: own panels' mean departure. visit: a new visit's set-up, shared. dryness: of
        its day. repeat: what the group's panels share at the visit and the mean of their residuals.
        """
        return next(self._parts(np.array([month])))

    def _fresh(self) -> tuple[Array, Array, Array, Array]:
        """What a new visit brings, the same at every time: (D,), and the scatter of groups."""
        draws, own = self.path.shape[:2]
        groups, places = self.among or (own, np.arange(own))
        random = np.random.default_rng([self.seed, 1])
        tail = random.standard_t(TAIL, (draws,))
        dry = random.uniform(-1, 1, (draws,)) * 3**0.5 * self.site.dryness_sd
        scatter = random.standard_normal((draws, groups))[:, places]
        return tail, dry, scatter, random.standard_normal((draws,))

    def _parts(self, when: Array) -> Iterator[dict[str, Array]]:
        """What `parts` tells, at each of the times (M,)."""
        tail, dry, scatter, fresh = self._fresh()
        weather = self._weather(when, fresh)
        own = (self.grid.group_visit_sd**2)[self.node, None]
        residual = (self.grid.panel_scale * self.spreads.residual)[self.node, None]
        own = np.sqrt(own + residual**2 / self.site.panels)
        designs = path_design(self.grid, when, np.ones(when.size), np.zeros(when.size), self.priors)
        for i in range(when.size):
            design = designs[self.node, i][:, None]
            yield {
                "curve": (self.path[..., :3] * design[..., :3]).sum(-1),
                "drift": self.path[..., 3] * design[..., 3],
                "weather": weather[i][:, None],
                "panels": self.panel[..., 0] + design[..., 1] * self.panel[..., 1],
                "visit": (self.grid.visit_sd[self.node] * tail)[:, None],
                "dryness": self.path[..., 4] * (design[..., 4] * dry[:, None]),
                "repeat": own * scatter,
            }

    def _weather(self, times: Array, fresh: Array) -> Array:
        """The site's wander and season at times (M,) given each draw's visits, (M, D)."""
        link = weather_cov(self.priors, times, self.site.months) * (1 - self.site.washed)  # M, V
        whole = np.diag(weather_cov(self.priors, times, times))
        weight = np.linalg.solve(self.visit_cov, link.T)  # nodes, V, M
        rest = np.sqrt(np.maximum(whole - np.einsum("nvm,mv->nm", weight, link), 0.0))
        known = np.einsum("dvm,dv->md", weight[self.node], self.visits)
        return known + rest[self.node].T * fresh


def _calm(solved: Solution, grid: Grid, prior: Array, calm: Array) -> Array:
    """New precision factors of the visits from the expected squares of their effects.

    They are judged beside steady losses, or else a storm would pass for a late loss that begins.
    """
    steady = np.flatnonzero(np.isnan(grid.onset))
    weight = grid.take(steady).weights(solved.log_likelihood[steady], prior)
    order = np.argsort(weight)[-TOP_NODES:]
    top, weight = steady[order], weight[order]
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
    expected = (weight / weight.sum()) @ square
    return np.minimum((TAIL + 1) / (TAIL + expected), 1.3)


def _settle(
    site: SiteReadings, priors: Priors, spreads: PanelSpreads
) -> tuple[Grid, Array, Array, Array]:
    """Find where the nodes matter and which visits are off, in turn, then weigh the nodes.

    The search needs no more than SAMPLE_GROUPS groups; the last weighing uses them all.
    """
    prior = np.array(list(priors.courses.values()))
    sample = np.unique(np.linspace(0, site.groups - 1, SAMPLE_GROUPS).astype(np.int64))
    some = site.only_groups(sample) if site.groups > SAMPLE_GROUPS else site
    grid = coarse_grid(priors)
    calm: Array = np.ones(site.months.size)
    for left in range(ROUNDS, 0, -1):
        solved = eliminate(some, grid, priors, spreads, calm)
        weight = grid.weights(solved.log_likelihood, prior)
        calm = _calm(solved, grid, prior, calm)
        grid = finer_grid(priors, grid, weight, search=left > 1)
    found = eliminate(some, grid, priors, spreads, calm).log_likelihood
    course = course_weights(prior, foretold(some, grid, priors, spreads, calm, found))
    if some is not site:
        found = evidence(site, grid, priors, spreads, calm)
    return grid, grid.weights(found, course), calm, course


def fit_site(
    site: SiteReadings, priors: Priors, *, draws: int = DRAWS, seed: int = 0
) -> SitePosterior:
    """Fit one campaign at one site. Readings, priors and draws share the property's unit."""
    spreads = panel_spreads(site, priors)
    grid, weight, calm, course = _settle(site, priors, spreads)
    position = (np.arange(draws) + 0.5) / draws
    drawn = np.searchsorted(np.cumsum(weight), position).clip(0, weight.size - 1)
    kept, node = np.unique(drawn, return_inverse=True)
    chosen = grid.take(kept)
    random = np.random.default_rng([seed, 0])
    sizes = iter(np.bincount(node.ravel()))
    mixed = np.random.default_rng([seed, 2]).permutation(draws)
    path = np.empty((draws, site.groups, len(COEFFICIENTS)))
    panel = np.empty((draws, site.groups, 2))
    visits = np.empty((draws, site.months.size))
    visit_cov, done = [], 0
    batch = max(1, ROOM // site.values.size)
    for part in in_parts(site, chosen):
        solved = eliminate(site, part, priors, spreads, calm)
        visit_cov.append(solved.shared.visit_cov)
        for place in range(part.size):
            ends = done + next(sizes)
            while done < ends:
                rows = mixed[done : min(done + batch, ends)]
                done += rows.size
                path[rows], panel[rows], visits[rows] = _draw(
                    site, solved, place, rows.size, random
                )
    own_node = np.empty_like(node.ravel())
    own_node[mixed] = node.ravel()
    shares = dict(zip(grid.courses, course.tolist(), strict=True))
    return SitePosterior(
        site, chosen, priors, spreads, own_node, path, panel, visits,
        np.concatenate(visit_cov), calm, shares, seed,
    )  # fmt: skip


def _spread(root: Array, random: np.random.Generator, draws: int) -> Array:
    """Draws (..., m, n) of N(0, root root') for Cholesky factors (..., n, n)."""
    fresh = random.standard_normal((*root.shape[:-2], draws, root.shape[-1]))
    return fresh @ np.swapaxes(root, -1, -2)


def _draw(
    site: SiteReadings, solved: Solution, node: int, draws: int, random: np.random.Generator
) -> tuple[Array, Array, Array]:
    """Draws at one node: shared effects, groups given them, panels given their group."""
    size, kind = site.months.size, solved.kind[node]
    visits, panels = solved.visits, solved.panels
    group, panel = visits.pattern, panels.pattern
    design = solved.design[node]
    root = np.linalg.inv(solved.shared.root[node]).T
    shared = solved.shared.mean[node] + _spread(root, random, draws)
    effect, level = shared[:, :size], shared[:, size:]
    common = effect + level @ design.T
    pull = visits.onward_pull[kind][:, None] - common @ visits.onward[kind][group]
    cov = solved.groups.cov[node]
    own = pull @ design @ cov[group] + _spread(np.linalg.cholesky(cov)[group], random, draws)
    mean = common + own @ design.T  # G, m, V
    pull = visits.pull[kind][:, None] - mean @ visits.weight[kind][group]
    cov = visits.cov[kind]
    mean = mean + pull @ cov[group] + _spread(np.linalg.cholesky(cov)[group], random, draws)
    apart = np.nan_to_num(site.values[:, None] - mean[site.group])
    cov = panels.cov[kind]
    each = apart @ panels.design[kind][panel] @ cov[panel]
    each = each + _spread(np.linalg.cholesky(cov)[panel], random, draws)
    total = np.zeros((site.groups, draws, 2))
    np.add.at(total, site.group, each)
    panel_mean = total / site.panels[:, None, None]
    return (level + own).swapaxes(0, 1), panel_mean.swapaxes(0, 1), effect
