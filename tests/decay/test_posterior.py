"""The hierarchical fit: exact against a dense computation, honest against simulated truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from aging.decay import nodes
from aging.decay.elimination import eliminate, path_design, weather_cov
from aging.decay.nodes import coarse_grid, finer_grid
from aging.decay.paths import COURSES
from aging.decay.posterior import fit_site
from aging.decay.priors import Priors, priors_for
from aging.decay.site import SiteReadings, site_readings
from aging.decay.spreads import PanelSpreads, panel_spreads
from aging.errors import CallError
from aging.vocabulary import PROPERTIES

PRIORS = priors_for(PROPERTIES["solar_reflectance"])
WHOLE = weather_cov(PRIORS, np.array([36.0]), np.array([36.0]))[0, 0]
SPREADS = PanelSpreads(residual=0.004, initial=0.006, loss=0.012)


def make_site(seed=0, *, groups=3, panels=2, visits=6, missing=0.2, storm=0.0, wash=False):
    random = np.random.default_rng(seed)
    months = np.sort(random.uniform(0, 18, visits)) + np.arange(visits) * 0.01
    group = np.repeat(np.arange(groups), panels)
    loss = random.uniform(0.1, 0.2, groups)[group, None]
    visit = random.normal(0, 0.006, visits)
    visit[visits // 2] -= storm
    values = 0.84 - loss * (1 - np.exp(-0.2 * months)) + visit
    values = values + random.normal(0, 0.004, values.shape)
    values[random.random(values.shape) < missing] = np.nan
    values[:, 0] = np.where(np.isnan(values[:, 0]), 0.84, values[:, 0])
    dry = random.normal(0, 0.2, visits)
    error = random.uniform(0, 0.01, visits)
    washed = np.arange(visits) == visits - 1 if wash else np.zeros(visits)
    offset = 0.003**2 * np.minimum.outer(months, months) if wash else None
    return SiteReadings(values, group, months, dry, washed * 1.0, error, 0.25, offset)


@dataclass(frozen=True)
class Dense:
    """The model at one node, written out in full: readings, their mean and covariance."""

    values: np.ndarray
    mean: np.ndarray
    cov: np.ndarray
    rows: np.ndarray
    design: np.ndarray
    centre: np.ndarray
    level: np.ndarray
    between: np.ndarray
    group: np.ndarray

    @classmethod
    def of(cls, site, grid, node, spreads, calm):
        phi, _ = grid.curve(site.months)
        rows = np.argwhere(~np.isnan(site.values))
        at = path_design(grid, site.months, site.dryness, site.washed, PRIORS)[node]
        at, group = at[rows[:, 1]], site.group[rows[:, 0]]
        scale = grid.panel_scale[node]
        value, spread, drift = PRIORS.value, PRIORS.spread, grid.drift_sd[node]
        names = ("initial", "loss", "drift", "dryness", "removable")
        centre = np.insert([value(name) for name in names], 2, 0.0)
        level = np.insert([spread(name) for name in names], 2, 1e-4)
        level[3], centre[3] = drift, grid.drift[node]
        between = [value(f"{name}_between") for name in ("initial", "loss", "pace")]
        between += [drift * value("drift_between_ratio")]
        between += [value(f"{name}_between") for name in ("dryness", "removable")]
        between[1:] = [grid.apart[node] * spread for spread in between[1:]]
        visit = grid.visit_sd[node] ** 2 * np.diag(1 / calm)
        open_air = 1 - site.washed
        weather = weather_cov(PRIORS, site.months, site.months)
        visit = visit + weather * np.outer(open_air, open_air)
        visit = visit if site.offset is None else visit + site.offset
        own = np.stack([np.ones(len(rows)), -phi[node, rows[:, 1]]], axis=1)
        same_group = group[:, None] == group
        same_panel = rows[:, 0][:, None] == rows[:, 0]
        same_visit = rows[:, 1][:, None] == rows[:, 1]
        cov = (
            at @ np.diag(level**2) @ at.T
            + same_group * (at @ np.diag(np.square(between)) @ at.T)
            + visit[np.ix_(rows[:, 1], rows[:, 1])]
            + same_group * same_visit * grid.group_visit_sd[node] ** 2
            + same_panel * (own @ np.diag([spreads.initial**2, spreads.loss**2]) @ own.T) * scale**2
            + np.diag((scale * spreads.residual) ** 2 + site.error[rows[:, 1]] ** 2)
        )
        values = site.values[rows[:, 0], rows[:, 1]]
        levels, betweens = np.diag(level**2), np.diag(np.square(between))
        return cls(values, at @ centre, cov, rows, at, centre, levels, betweens, group)

    def state(self, site, late):
        """Mean and variance of each group's state where the path's design is `late` (Q,)."""
        common = late @ self.level @ self.design.T
        weather = weather_cov(PRIORS, np.array([36.0]), site.months)[0] * (1 - site.washed)
        common = common + weather[self.rows[:, 1]]
        own = late @ self.between @ self.design.T
        cross = common + (self.group == np.arange(site.groups)[:, None]) * own
        gain = np.linalg.solve(self.cov, cross.T).T
        prior = late @ (self.level + self.between) @ late + WHOLE
        mean = late @ self.centre + gain @ (self.values - self.mean)
        return mean, prior - (gain * cross).sum(1)


@pytest.mark.parametrize(("missing", "wash"), [(0.0, False), (0.25, False), (0.25, True)])
def test_elimination_has_the_likelihood_of_the_dense_model(missing, wash):
    site = make_site(seed=3, missing=missing, wash=wash)
    coarse = coarse_grid(PRIORS)
    fine = finer_grid(PRIORS, coarse, np.ones(coarse.size) / coarse.size, search=False)
    late = np.flatnonzero(~np.isnan(fine.onset))[[3, -5]]
    for grid in (coarse.take(np.array([0, 200])), fine.take(np.array([0, 500, *late]))):
        check_likelihood(site, grid)


def check_likelihood(site, grid):
    solved = eliminate(site, grid, PRIORS, SPREADS, np.ones(site.months.size))
    for node in range(grid.size):
        full = Dense.of(site, grid, node, SPREADS, np.ones(site.months.size))
        expected = multivariate_normal.logpdf(full.values, full.mean, full.cov)
        assert solved.log_likelihood[node] == pytest.approx(expected, abs=1e-6)


def test_a_node_among_others_has_what_it_has_alone():
    """Steps that nodes share are solved once, whatever else they differ in."""
    site, calm = make_site(seed=4, wash=True), np.linspace(0.3, 1.2, 6)
    coarse = coarse_grid(PRIORS)
    grid = finer_grid(PRIORS, coarse, np.ones(coarse.size), search=False)
    among = eliminate(site, grid, PRIORS, SPREADS, calm)
    for node in np.random.default_rng(1).integers(0, grid.size, 60):
        alone = eliminate(site, grid.take(np.array([node])), PRIORS, SPREADS, calm)
        assert among.log_likelihood[node] == pytest.approx(alone.log_likelihood[0], abs=1e-8)
        assert among.shared.mean[node] == pytest.approx(alone.shared.mean[0], abs=1e-8)
        for step in ("panels", "visits"):
            ours, its = getattr(among, step).cov[among.kind[node]], getattr(alone, step).cov[0]
            assert ours == pytest.approx(its, rel=1e-8)


def test_draws_have_the_moments_of_the_dense_posterior():
    """Path coefficients of every group, by conditioning the dense joint at the drawn nodes."""
    site = make_site(seed=5, missing=0.1, wash=True)
    posterior = fit_site(site, PRIORS, draws=20_000)
    state, _ = posterior.at([36.0])
    again, _ = fit_site(site, PRIORS, draws=20_000).at([36.0])
    assert np.array_equal(state, again)
    grid = posterior.grid
    weight = np.bincount(posterior.node) / posterior.node.size
    mean = np.zeros(site.groups)
    square = np.zeros(site.groups)
    for node in range(grid.size):
        late = path_design(grid, np.array([36.0]), np.zeros(1), np.zeros(1), PRIORS)[node, 0]
        m, v = Dense.of(site, grid, node, posterior.spreads, posterior.calm).state(site, late)
        mean += weight[node] * m
        square += weight[node] * (v + m**2)
    sd = np.sqrt(square - mean**2)
    assert state[0].mean(0) == pytest.approx(mean, abs=0.0015)
    assert state[0].std(0) == pytest.approx(sd, rel=0.03)


def test_one_storm_visit_hardly_moves_the_projection():
    calm = fit_site(make_site(seed=1, visits=10, missing=0), PRIORS)
    stormy = fit_site(make_site(seed=1, visits=10, missing=0, storm=0.08), PRIORS)
    assert stormy.calm[5] < 0.3 < calm.calm[5]
    moved = stormy.at([36.0])[0].mean(1) - calm.at([36.0])[0].mean(1)
    assert np.abs(moved).max() < 0.02


def test_a_storm_in_the_last_visit_is_suspected_though_a_late_loss_could_begin():
    random = np.random.default_rng(0)
    months, group = np.arange(0, 19, 2.0), np.repeat(np.arange(4), 3)
    values = 0.82 + random.normal(0, 0.02, 4)[group, None] - 0.15 * (1 - np.exp(-0.2 * months))
    values = values + random.normal(0, 0.006, months.size) - 0.05 * (months == months[-1])
    values = values + random.normal(0, 0.004, values.shape)
    fitted = fit_site(site_readings(values, group, months), PRIORS)
    assert (~np.isnan(fitted.grid.onset[fitted.node])).mean() > 0.4
    assert fitted.calm[-1] < 0.66
    assert fitted.calm[1:-1].min() > 0.9


def test_spreads_come_from_replicates_alone():
    random = np.random.default_rng(4)
    months = np.arange(12.0)
    group = np.repeat(np.arange(20), 3)
    shared = random.normal(0, 0.05, (20, 12))[group] + random.normal(0, 0.05, 12)
    values = 0.8 + shared + random.normal(0, 0.02, (60, 1)) + random.normal(0, 0.004, (60, 12))
    found = panel_spreads(site_readings(values, group, months), PRIORS)
    assert found.residual == pytest.approx(0.004, rel=0.15)
    assert found.initial == pytest.approx(0.02, rel=0.25)
    assert found.loss < 0.012


def test_a_shuffled_site_is_refused():
    with pytest.raises(CallError, match="ascending"):
        site_readings(np.zeros((1, 2)), np.zeros(1, int), np.array([1.0, 0.0]))
    with pytest.raises(CallError, match="panels x visits"):
        site_readings(np.zeros((1, 2)), np.zeros(2, int), np.array([0.0, 1.0]))


def test_no_reading_leaves_the_prior():
    """Before anything is read the state is the prior's: its loss shows in the mean and spread."""
    site = site_readings(np.full((2, 1), np.nan), np.zeros(2, int), np.zeros(1))
    state, reading = fit_site(site, PRIORS).at([0.0, 36.0])
    assert state[0].mean() == pytest.approx(0.82, abs=0.01)
    assert state[0].std() == pytest.approx(np.hypot(0.10, 0.04), rel=0.06)
    assert 0.55 < state[1].mean() < 0.75
    assert (reading.std(1) > state.std(1)).all()


def test_a_course_without_weight_is_left_out():
    table = PRIORS.table.copy()
    table.loc["weight_power", "value"] = 0.0
    fitted = fit_site(make_site(seed=2), Priors(table, "month"), draws=200)
    assert list(fitted.course_weight) == ["exponential", "stretched", "delayed"]
    assert np.isfinite(fitted.at([36.0])[1]).all()


def test_pace_is_the_slope_of_a_course_by_the_log_of_its_parameter():
    parameter, months, step = np.array([0.05, 0.4]), np.array([0.0, 1.0, 7.0, 36.0]), 1e-5
    for course in COURSES.values():
        up, down = (course.phi(parameter * np.exp(by), months, 36.0) for by in (step, -step))
        slope = (up - down) / (2 * step)
        assert course.pace(parameter, months, 36.0) == pytest.approx(slope, abs=1e-8)


def alike(grid):
    """Weight (N,) of every kind of slow loss, at any rate and spread."""
    return np.exp(grid.log_prior + (grid.at**2 + grid.visit_at**2 + grid.apart_at**2) / 2)


def test_a_late_loss_waits_for_its_onset_and_is_whole_at_the_span():
    grid = finer_grid(PRIORS, (coarse := coarse_grid(PRIORS)), alike(coarse), search=False)
    onsets, span = np.unique(grid.onset[~np.isnan(grid.onset)]), PRIORS.value("span")
    width = PRIORS.value("late_width")
    assert onsets == pytest.approx(12 + (np.arange(12) + 0.5) / 12 * 16, abs=0.01)
    assert grid.slow(np.array([0.0, 6.0, span]))[np.isnan(grid.onset)] == pytest.approx(
        np.tile([0.0, 6.0, span], (np.isnan(grid.onset).sum(), 1))
    )
    at = grid.slow(np.array([0.0, *onsets, span])) / span
    for place, onset in enumerate(onsets):
        risen = at[grid.onset == onset]
        before = grid.slow(np.array([max(onset - 4 * width, 0.0)]))[grid.onset == onset] / span
        assert risen[:, 0] == pytest.approx(0)
        assert (before < 0.02).all()
        assert risen[:, 1 + place] == pytest.approx(0.5, abs=0.03)
        assert risen[:, -1] == pytest.approx(1)


def test_onsets_gather_where_the_weight_is_and_stand_for_the_prior():
    """Half of them, once all the weight lies in one cell of four; masses fill the whole prior."""
    coarse = coarse_grid(PRIORS)
    cells = np.unique(coarse.onset[~np.isnan(coarse.onset)])
    weight = alike(coarse) * ~(coarse.onset != cells[1])
    grid = finer_grid(PRIORS, coarse, weight, search=True)
    onsets, first = np.unique(grid.onset[~np.isnan(grid.onset)], return_index=True)
    mass = grid.onset_mass[~np.isnan(grid.onset)][first]
    assert (cells.size, onsets.size) == (4, 8)
    assert mass.sum() == pytest.approx(1)
    assert onsets == pytest.approx(12 + 16 * (mass.cumsum() - mass / 2), abs=0.01)
    assert (np.abs(onsets - cells[1]) < 2).sum() == 5
    assert mass[np.abs(onsets - cells[1]) < 2] == pytest.approx(0.05)


def test_onsets_stay_even_where_no_late_loss_has_weight():
    coarse = coarse_grid(PRIORS)
    grid = finer_grid(PRIORS, coarse, alike(coarse) * np.isnan(coarse.onset), search=True)
    assert np.unique(grid.onset[~np.isnan(grid.onset)]) == pytest.approx(
        np.arange(13, 28, 2), abs=0.01
    )


def test_kinds_of_slow_loss_weigh_what_the_table_says():
    grid = finer_grid(PRIORS, (coarse := coarse_grid(PRIORS)), np.ones(coarse.size), search=False)
    late, share = ~np.isnan(grid.onset), alike(grid)
    assert share[late].sum() / share.sum() == pytest.approx(PRIORS.value("late_share"))


@pytest.mark.parametrize(
    ("onset", "last", "within"), [(14.0, 24.0, 0.003), (22.0, 24.0, 0.003), (40.0, 12.0, 0.005)]
)
def test_a_finer_grid_tells_the_same(monkeypatch, onset, last, within):
    """A late loss seen whole, one just begun, and none yet: the ends of intervals stay."""
    random = np.random.default_rng(3)
    months, group = np.arange(0, last + 1, 2.0), np.repeat(np.arange(4), 3)
    lost = 0.15 * (1 - np.exp(-0.2 * months)) + 0.08 / (1 + np.exp((onset - months) / 2))
    values = 0.82 + random.normal(0, 0.02, 4)[group, None] - lost
    values = values + random.normal(0, 0.006, months.size)
    site = site_readings(values + random.normal(0, 0.004, values.shape), group, months)

    def ends():
        told = fit_site(site, PRIORS, draws=40_000).at([36.0])
        return np.quantile(np.concatenate([one[0] for one in told], axis=1), [0.05, 0.95], axis=0)

    ours = ends()
    monkeypatch.setattr(nodes, "FINE_POINTS", 9)
    monkeypatch.setattr(nodes, "VISIT_POINTS", (5, 7))
    monkeypatch.setattr(nodes, "ONSETS", (16, 32))
    finer = ends()
    assert np.abs(ours - finer).max() > 0
    assert ours == pytest.approx(finer, abs=within)
