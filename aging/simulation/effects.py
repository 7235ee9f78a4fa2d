"""The random effects of a campaign: batches, panels, visits and instruments.

Array axes: site, formulation, member. Member 0 is the formulation itself (no effect of its own),
then its panels, then its file specimens.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aging.simulation.appearance import SIMULATED
from aging.simulation.mechanism import traits
from aging.simulation.scenario import Design
from aging.simulation.weather import Array, Count, Day, Flag
from aging.vocabulary import DAYS_PER_MONTH

CALIBRATED_EVERY_DAYS = 182
STORM = (0.04, 0.09)  # how much darker a storm's visit is [reflectance]


@dataclass(frozen=True)
class Material:
    """What distinguishes the members, each (sites, formulations, members).

    `initial` reflectance [fraction]; factors of how they hold dirt and how fast growth spreads.
    """

    initial: Array
    hold: Array
    growth: Array


@dataclass(frozen=True)
class Rounds:
    """The visits: `day` since mounting (sites, planned + marks), `seen` (sites, planned).

    The first columns are the planned visits, then one would-be visit for each mark; `shared` is
    the standardised error of each. `start` (sites,) is the day of mounting. `swaps` (sites or 0, 3)
    are a visit and the two formulations whose first panels then carry each other's label.
    """

    start: Day
    day: Count
    seen: Flag
    shared: Array
    swaps: Count

    @property
    def visited(self) -> Count:
        """Day of each planned visit, 0 where it fell out, (sites, planned)."""
        return np.where(self.seen, self.day[:, : self.seen.shape[1]], 0)

    @property
    def last(self) -> Count:
        """Day of each site's last visit, (sites,)."""
        last: Count = self.visited.max(axis=1)
        return last

    def labelled(self, value: Array) -> Array:
        """Planned visits' values (sites, planned, formulations, members) by the labels read."""
        planned = value[:, : self.seen.shape[1]].copy()
        for site, (visit, one, other) in enumerate(self.swaps):
            planned[site, visit, [one, other], 1] = planned[site, visit, [other, one], 1]
        return planned


def draw_material(design: Design, rng: np.random.Generator) -> Material:
    """Formulations from composition and batch, members around them, sites' severity."""
    scatter, blends, sites = design.scatter, design.formulations, len(design.sites)
    shape = (sites, len(blends), 1 + design.panels + design.file_specimens)
    own = np.r_[0.0, np.ones(shape[2] - 1)]

    def factor(site: float, member: float) -> Array:
        common = site * rng.standard_normal((sites, 1, 1))
        both: Array = np.exp(common + member * own * rng.standard_normal(shape))
        return both

    initial, stickiness = traits(
        [blend.silica_wt_pct for blend in blends],
        [blend.hollow_sphere_vol_pct for blend in blends],
    )
    initial = initial + scatter.batch_initial * rng.standard_normal(shape[1])
    sticky = scatter.batch_stickiness * rng.standard_normal(shape[1])
    sticky = sticky + scatter.interaction * rng.standard_normal(shape[:2])
    return Material(
        initial[:, None] + scatter.panel_initial * own * rng.standard_normal(shape),
        (stickiness * np.exp(sticky))[..., None]
        * factor(scatter.site_soiling, scatter.panel_soiling),
        factor(scatter.site_growth, scatter.panel_growth),
    )


def draw_rounds(design: Design, rng: np.random.Generator, luck: np.random.Generator) -> Rounds:
    """Visits with jitter, some missed, each with one error that all its panels share.

    `luck` disturbs: a storm, swapped labels.
    """
    scatter, shape = design.scatter, (len(design.sites), len(design.visits))
    plan = _days(design.visits)
    reach = np.minimum(design.jitter_days, np.diff(plan, prepend=0) / 3)
    planned = plan + np.round(reach * rng.uniform(-1, 1, shape)).astype(int)
    seen = rng.random(shape) >= design.missing_visit
    seen[:, 0] = True
    day = np.hstack([planned, np.tile(_days(design.marks), (shape[0], 1))])
    shared = scatter.visit * rng.standard_t(scatter.visit_freedom, day.shape) * (day > 0)
    start = np.datetime64(design.exposed_on, "D") + np.arange(shape[0]) * design.stagger_days

    shared *= np.exp(scatter.visit_spread * luck.standard_normal((shape[0], 1)))
    swaps = np.empty((0, 3), dtype=int)
    sites = np.arange(shape[0])
    if design.storm:
        hit = luck.integers(1, shape[1], shape[0])
        seen[sites, hit] = True
        shared[sites, hit] -= luck.uniform(*STORM, shape[0]) / SIMULATED["solar_reflectance"].visit
    if design.swap:
        hit = luck.integers(1, shape[1], shape[0])
        seen[sites, hit] = True
        coats = np.tile(np.arange(len(design.formulations)), (shape[0], 1))
        swaps = np.column_stack([hit, luck.permuted(coats, axis=1)[:, :2]])
    return Rounds(start, day, seen, shared, swaps)


def draw_present(design: Design, luck: np.random.Generator) -> Flag:
    """Which members hang at each site, (sites, formulations, members)."""
    member = np.arange(1 + design.panels + design.file_specimens)
    least = design.panels if design.least_panels is None else design.least_panels
    shape = (len(design.sites), len(design.formulations), 1)
    hung: Flag = member <= luck.integers(least, design.panels + 1, shape)
    return hung | (member > design.panels)


def draw_drift(day: Count, monthly: float, rng: np.random.Generator) -> Array:
    """Drift of each site's instrument on each day: straight from one calibration to the next."""
    period, since = np.divmod(day, CALIBRATED_EVERY_DAYS)
    slope = monthly * rng.standard_normal((len(day), int(period.max()) + 1))
    return np.take_along_axis(slope, period, axis=1) * since / DAYS_PER_MONTH


def _days(months: tuple[float, ...]) -> Count:
    return np.round(np.array(months) * DAYS_PER_MONTH).astype(int)
