"""Before a trial: the smallest difference that a plan can show, and the cheapest plan for one.

Given a node of the grid (rate, spread of visits, kind of slow loss) what a plan will know of the
difference of two formulations hung side by side does not depend on what will be read: its prior
variance t2 and posterior variance P at the month asked for follow from the plan alone, and with
them the variance v of what the readings say, 1/v = 1/P - 1/t2, and the weight k = t2 / (t2 + v)
they are given. A true difference d at every one of S sites is shown where the interval of the mean

    (1/S) sum k_s (d + sqrt(v_s) e_s)   -   z sqrt(sum P_s) / S      is above 0,   e_s ~ N(0, 1)

which is simulated over nodes and errors. Nodes, replicates' spreads and priors are those of the
fitted campaigns of a ledger, each site with its own, or the assumed ones of the table of priors.
Against whole simulated campaigns, fitted one by one: tests/comparison/test_floors_study.py.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import pandas as pd

from aging.decay.elimination import between_spread, eliminate, path_design
from aging.decay.nodes import Grid, coarse_grid
from aging.decay.posterior import SitePosterior
from aging.decay.priors import Priors
from aging.decay.site import Array, site_readings
from aging.decay.spreads import PanelSpreads
from aging.errors import require
from aging.projection import Fit

SIMULATED, SEED, NODES, WIDEST = 4000, 20_261_125, 60, 0.5
COLUMNS = (
    "sites", "panels", "read_months", "visits", "months", "smallest_difference", "level", "power",
    "cost", "enough",
)  # fmt: skip
SCHEDULE = (0, 1, 2, 3, 6, 9, 12, 18, 24, 30, 36)


@dataclass(frozen=True)
class Components:
    """Where errors come from at one site: nodes with their weights, replicates, priors."""

    grid: Grid
    weight: Array
    spreads: PanelSpreads
    priors: Priors


def of_fit(fitted: Fit) -> tuple[Components, ...]:
    """Components of every fitted campaign of a ledger, one a site, the longest read."""
    best: dict[str, SitePosterior] = {}
    for one in sorted(fitted.series, key=lambda series: series.posterior.site.last):
        best[one.site] = one.posterior
    return tuple(_of_posterior(best[site]) for site in sorted(best))


def _of_posterior(found: SitePosterior) -> Components:
    share = np.bincount(found.node, minlength=found.grid.size) / found.node.size
    top = np.sort(np.argsort(share)[-NODES:])
    return Components(
        found.grid.take(top), share[top] / share[top].sum(), found.spreads, found.priors
    )


def assumed(priors: Priors) -> Components:
    """Components of the table of priors alone."""
    grid = coarse_grid(priors)
    weight = grid.weights(np.zeros(grid.size), np.array(list(priors.courses.values())))
    random = np.random.default_rng(SEED)
    some = np.sort(random.choice(grid.size, min(NODES, grid.size), replace=False, p=weight))
    names = ("residual", "panel_initial", "panel_loss")
    even = np.full(some.size, 1 / some.size)
    return Components(grid.take(some), even, PanelSpreads(*map(priors.value, names)), priors)


@dataclass(frozen=True)
class Plan:
    """Panels a formulation and site, sites, and the months at which all of them are read."""

    panels: int
    sites: int
    visits: tuple[float, ...]

    def __post_init__(self) -> None:
        require(self.panels >= 1, "panels", self.panels, "1 or more")
        require(self.sites >= 1, "sites", self.sites, "1 or more")
        rising = all(
            late > early for early, late in zip(self.visits, self.visits[1:], strict=False)
        )
        require(len(self.visits) > 1 and rising, "visits", self.visits, "two or more, ascending")


def smallest_difference(
    plan: Plan,
    components: Sequence[Components],
    months: float = 36.0,
    *,
    level: float = 0.90,
    power: float = 0.80,
) -> float:
    """Least difference of two formulations, mean over sites, shown with `power`; inf beyond 0.5.

    In the property's unit. level: of the two-sided interval that must leave out 0. Components
    are used in turn where the plan has more sites.
    """
    require(0 < level < 1, "level", level, "between 0 and 1, such as 0.90")
    require(0 < power < 1, "power", power, "between 0 and 1, such as 0.80")
    from scipy.optimize import brentq
    from scipy.stats import norm

    random = np.random.default_rng(SEED)
    reach = norm.ppf((1 + level) / 2)
    total, pull, spread = np.zeros((3, SIMULATED))
    for site in range(plan.sites):
        one = components[site % len(components)]
        known, prior = variances(one, plan, months)
        node = random.choice(known.size, SIMULATED, p=one.weight)
        known, prior = known[node], prior[node]
        weight = 1 - known / prior
        said = known / np.maximum(weight, 1e-12)
        spread = spread + weight * np.sqrt(said) * random.standard_normal(SIMULATED)
        pull, total = pull + weight, total + known

    def shortfall(gap: float) -> float:
        return float(np.mean(pull * gap + spread > reach * np.sqrt(total))) - power

    widest = WIDEST * components[0].priors.value("loss") / 0.2
    return float(brentq(shortfall, 0.0, widest, xtol=1e-4)) if shortfall(widest) > 0 else np.inf


def variances(one: Components, plan: Plan, months: float) -> tuple[Array, Array]:
    """Posterior and prior variance (N,) of the difference of two formulations at one site."""
    at = np.array(plan.visits, np.float64)
    empty = np.zeros((2 * plan.panels, at.size))
    site = site_readings(empty, np.repeat([0, 1], plan.panels), at)
    solved = eliminate(site, one.grid, one.priors, one.spreads, np.ones(at.size))
    none = np.zeros(1)
    row = path_design(one.grid, np.array([months]), none, none, one.priors)[:, 0]
    known = 2 * np.einsum("nq,nqr,nr->n", row, solved.groups.cov[:, 0], row)
    prior = 2 * (row**2 * between_spread(one.priors, one.grid) ** 2).sum(axis=1)
    return known, prior


def plans(
    components: Sequence[Components],
    *,
    panels: Iterable[int] = (1, 2, 3, 5),
    sites: Iterable[int] = (1, 2, 3),
    read_months: Iterable[float] = (12, 24, 36),
    schedule: Sequence[float] = SCHEDULE,
    months: float = 36.0,
    level: float = 0.90,
    power: float = 0.80,
    wanted: float | None = None,
    formulations: int = 2,
    panel_cost: float = 1.0,
    visit_cost: float = 0.0,
) -> pd.DataFrame:
    """Every plan with the smallest difference it shows (COLUMNS), the cheapest first.

    Cost: panels hung, plus visits at each site, in the user's own unit. `enough`: shows `wanted`.
    """
    rows = []
    for sites_, panels_, last in product(sites, panels, read_months):
        visits = tuple(float(month) for month in schedule if month <= last)
        plan = Plan(panels_, sites_, visits)
        least = smallest_difference(plan, components, months, level=level, power=power)
        cost = sites_ * (formulations * panels_ * panel_cost + len(visits) * visit_cost)
        enough = wanted is not None and least <= wanted
        row = sites_, panels_, last, len(visits), months, least, level, power, cost, enough
        rows.append(row)
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table.sort_values(["cost", "smallest_difference"], ignore_index=True)
