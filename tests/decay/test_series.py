from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from series_example import exposures, least_on_a_grid

from aging.decay import series_numba
from aging.decay.outcome import Outcome
from aging.decay.series import BLOCKS, fit_series
from aging.decay.shapes import SHAPES
from aging.errors import CallError

CURVED = [name for name, shape in SHAPES.items() if shape.clock is not None]


def one(months, values, shape="exponential", **more):
    return fit_series(months, values, [0, len(months)], shape, **more)


def test_the_truth_is_recovered_and_the_standard_errors_are_those_of_its_scatter():
    truth = exposures(2000, 60, noise=0.002, span=48)
    fit = fit_series(truth.months, truth.values, truth.offsets)
    good = fit.outcome == Outcome.FITTED
    assert good.mean() > 0.999
    wanted = np.column_stack((truth.start, truth.loss, truth.rate))
    found = np.column_stack((fit.start, fit.loss, fit.rate))
    z = ((found - wanted) / fit.standard_errors)[good]
    assert np.abs(z.mean(axis=0)).max() < 0.1
    np.testing.assert_allclose(z.std(axis=0), 1, atol=0.08)
    np.testing.assert_allclose(np.median(fit.sigma), 0.002, rtol=0.02)


@pytest.mark.parametrize("start", [None, 0.8])
@pytest.mark.parametrize("weighted", [False, True])
@pytest.mark.parametrize("shape", SHAPES)
def test_both_engines_give_equal_results(shape, weighted, start):
    truth = exposures(BLOCKS[0] + 300, (6, 25), seed=3)
    weights = np.random.default_rng(4).uniform(0.3, 3, truth.months.size) if weighted else None
    a, b = (
        fit_series(
            truth.months, truth.values, truth.offsets, shape,
            weights=weights, start=start, engine=engine,
        )
        for engine in ("numpy", "numba")
    )  # fmt: skip
    assert (a.outcome == b.outcome).all()
    np.testing.assert_allclose(a.rss, b.rss, rtol=1e-9)
    fitted = a.outcome == Outcome.FITTED
    for name, error in zip(a.parameters, a.standard_errors[fitted].T, strict=True):
        one, other = getattr(a, name)[fitted], getattr(b, name)[fitted]
        assert (np.abs(one - other) <= 1e-6 * (np.abs(other) + error)).all(), name
    np.testing.assert_allclose(a.standard_errors, b.standard_errors, rtol=1e-3)


@pytest.mark.parametrize("shape", CURVED)
def test_no_rate_on_a_fine_grid_does_better(shape):
    truth = exposures(25, (5, 12), noise=0.05, seed=5)
    fit = fit_series(truth.months, truth.values, truth.offsets, shape)
    rates = np.geomspace(0.05, 12.8, 300) if shape == "power" else np.geomspace(1e-3, 50, 300)

    def columns(t, rate):
        curve = t**rate if shape == "power" else np.exp(-rate * t)
        return [np.ones_like(t), curve, t][: 2 + SHAPES[shape].drifts]

    for series in range(len(fit)):
        t, y = truth.one(series)
        span = 1.0 if shape == "power" else t[-1]
        allowed = rates[rates * span > SHAPES[shape].low]
        assert fit.rss[series] <= least_on_a_grid(t, y, columns, allowed) * (1 + 1e-9)


readings = st.lists(
    st.tuples(st.floats(0, 60).map(lambda t: round(t, 2)), st.floats(0.2, 0.9)),
    min_size=6, max_size=14, unique_by=lambda pair: pair[0],
)  # fmt: skip


@settings(max_examples=80, deadline=None)
@given(readings, st.sampled_from(CURVED))
def test_a_curve_never_fits_worse_than_the_straight_line(pairs, shape):
    months, values = map(np.array, zip(*pairs, strict=True))
    curve, line = one(months, values, shape), one(months, values, "line")
    total = ((values - values.mean()) ** 2).sum()
    if curve.outcomes[0] != Outcome.NO_CHANGE:
        assert curve.rss[0] <= line.rss[0] * (1 + 1e-9) + 1e-12 * total
        assert np.isfinite(curve.predict([0.0, 36.0])).all() or months.min() > 0
        drawn = ((values - curve.predict(months)[0]) ** 2).sum()
        assert drawn == pytest.approx(curve.rss[0], rel=1e-5, abs=1e-9 * total)


@pytest.mark.parametrize("engine", ["numpy", "numba"])
def test_every_outcome_has_its_case(engine):
    t = np.arange(8.0)
    bent = np.array([0, 1, -1, 1, -1, 1, -1, 0]) * 1e-3
    cases = {
        Outcome.FITTED: (t, 0.8 - 0.2 * (1 - np.exp(-0.5 * t)) + bent),
        Outcome.RATE_AT_LOWER_BOUND: (t, 0.8 - 0.01 * t - 0.001 * t**2),
        Outcome.RATE_AT_UPPER_BOUND: (t, np.where(t > 0, 0.6, 0.8) - bent),
        Outcome.NO_CHANGE: (t, np.full(8, 0.85)),
        Outcome.TOO_FEW_READINGS: (t[:3], 0.8 - 0.1 * t[:3]),
        Outcome.NO_TIME_SPREAD: (np.array([0.0, 0, 3, 3, 3]), np.linspace(0.8, 0.7, 5)),
    }
    months, values = (np.concatenate(part) for part in zip(*cases.values(), strict=True))
    offsets = np.cumsum([0, *(len(case[0]) for case in cases.values())])
    fit = fit_series(months, values, offsets, engine=engine)
    assert fit.outcomes == tuple(cases) == tuple(Outcome)
    usable = np.array([outcome.usable for outcome in fit.outcomes])
    for name in ("start", "loss", "rate", "drift", "rss", "sigma"):
        assert (np.isfinite(getattr(fit, name)) == usable).all(), name
    fitted = fit.outcome == Outcome.FITTED
    assert (np.isfinite(fit.covariance).all(axis=(1, 2)) == fitted).all()
    labels = [outcome.label for outcome in Outcome]
    assert labels[1:3] == ["rate at lower bound", "rate at upper bound"]
    assert labels[3:] == ["no change", "too few readings", "no time spread"]


def test_at_the_lower_bound_the_path_is_the_straight_line_itself():
    t = np.arange(8.0)
    y = 0.8 - 0.01 * t - 0.001 * t**2
    fit, line = one(t, y), one(t, y, "line")
    assert (fit.rate[0], fit.loss[0]) == (0, 0)
    assert (fit.drift[0], fit.rss[0]) == (line.drift[0], line.rss[0])
    np.testing.assert_allclose(fit.predict([0, 40]), line.predict([0, 40]))


def test_at_the_upper_bound_the_path_is_a_step_after_the_first_reading():
    t = np.array([0.0, 0.01, 5, 10, 20])
    fit = one(t, [0.8, 0.6, 0.61, 0.59, 0.6])
    np.testing.assert_allclose(fit.predict([0, 0.01, 12])[0], [0.8, 0.6, 0.6], atol=1e-8)


def test_a_step_seen_from_before_the_first_reading_has_no_height_and_no_warning():
    fit = one([3.0, 3.01, 5, 10, 20], [0.8, 0.6, 0.61, 0.59, 0.6])
    assert np.isinf(fit.predict(0.0)[0, 0])
    assert np.isinf(fit.start[0])
    np.testing.assert_allclose(fit.predict(3.0)[0], [0.8], atol=1e-8)


def test_a_power_of_time_has_no_months_before_exposure():
    fit = one([0.0, 1, 2, 3, 4], [0.8, 0.7, 0.66, 0.63, 0.61], "power")
    with pytest.raises(CallError, match="months: -1"):
        fit.predict(-1)


def test_no_change_is_the_constant_with_nothing_left():
    fit = one([1.0, 2, 3, 4, 7], [0.85] * 5)
    assert fit.predict([0, 36, 400]).tolist() == [[0.85] * 3]
    assert (fit.loss[0], fit.rss[0], fit.sigma[0]) == (0, 0, 0)


def test_empty_series_one_and_two_readings_stand_among_others():
    truth = exposures(1, 12)
    months = np.concatenate(([5.0], truth.months, [1.0, 2.0]))
    values = np.concatenate(([0.8], truth.values, [0.8, 0.7]))
    fit = fit_series(months, values, [0, 0, 1, 13, 15, 15])
    alone = one(truth.months, truth.values)
    few = Outcome.TOO_FEW_READINGS
    assert fit.outcomes == (few, few, Outcome.FITTED, few, few)
    assert fit.n.tolist() == [0, 1, 12, 2, 0]
    assert fit.rate[2] == alone.rate[0]


def test_no_series_at_all_is_an_empty_fit():
    fit = fit_series([], [], [0])
    assert len(fit) == 0
    assert fit.predict([1.0]).shape == (0, 1)


def test_months_far_from_zero_shift_the_path_and_keep_its_rate():
    truth = exposures(30, 15, seed=7)
    near = fit_series(truth.months, truth.values, truth.offsets)
    far = fit_series(truth.months + 2.0**20, truth.values, truth.offsets)
    np.testing.assert_allclose(far.rate, near.rate, rtol=1e-5)
    later = np.array([0.0, 12, 36])
    np.testing.assert_allclose(far.predict(later + 2.0**20), near.predict(later), rtol=1e-7)


def test_the_order_of_readings_does_not_matter():
    truth = exposures(20, 9, seed=8)
    order = np.lexsort((np.random.default_rng(0).random(180), np.repeat(np.arange(20), 9)))
    a = fit_series(truth.months, truth.values, truth.offsets)
    b = fit_series(truth.months[order], truth.values[order], truth.offsets)
    np.testing.assert_allclose(a.rate, b.rate, rtol=1e-9)


@pytest.mark.parametrize("engine", ["numpy", "numba"])
def test_a_weight_of_two_counts_like_the_reading_twice(engine):
    truth = exposures(1, 12, seed=9)
    times = np.arange(12) % 2 + 1
    weighted = one(truth.months, truth.values, weights=times, engine=engine)
    twice = one(np.repeat(truth.months, times), np.repeat(truth.values, times), engine=engine)
    np.testing.assert_allclose(weighted.rate, twice.rate, rtol=1e-7)
    np.testing.assert_allclose(weighted.rss, twice.rss, rtol=1e-9)


def test_months_of_each_series_own_are_predicted():
    truth = exposures(3, 12)
    fit = fit_series(truth.months, truth.values, truth.offsets)
    own = fit.predict([[1.0], [2.0], [3.0]])
    assert own[:, 0].tolist() == np.diag(fit.predict([1.0, 2.0, 3.0])).tolist()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"values": [1, 2, 3, np.nan, 5, 6]}, r"values: 1 not usable, in series 1"),
        ({"months": [0, 1, np.inf, np.nan, 1, 2]}, r"months: 2 not usable, in series 0, 1"),
        ({"weights": [1, 1, 1, 1, 0, 1]}, r"weights: 1 not usable, in series 1.*positive"),
        ({"offsets": [0, 3, 7]}, "offsets.*number of readings, 6"),
        ({"offsets": [0, 4, 3, 6]}, "offsets"),
        ({"values": [1, 2, 3]}, "two flat arrays of equal length"),
        ({"shape": "spline"}, "decay shape: 'spline'"),
        ({"engine": "fortran"}, "engine: 'fortran'.*auto, numpy, numba"),
        ({"start": np.nan}, "start: nan"),
        ({"shape": "power", "months": [-1, 1, 2, 0, 1, 2]}, "months: .*-1.0.*at least 0"),
    ],
)
def test_a_call_that_cannot_be_fitted_is_refused_by_name(change, message):
    call = {"months": [0, 1, 2, 0, 1, 2], "values": [6, 5, 4, 3, 2, 1], "offsets": [0, 3, 6]}
    with pytest.raises(CallError, match=message):
        fit_series(**(call | change))


def test_inputs_are_not_changed():
    truth = exposures(5, 9)
    months, values = truth.months[::-1].copy(), truth.values.copy()
    months.flags.writeable = values.flags.writeable = False
    assert fit_series(months, values, truth.offsets, engine="numba").rss.shape == (5,)


def test_a_folder_that_cannot_hold_the_compiled_code_is_no_obstacle(monkeypatch):
    def njit(function, cache=False):
        if cache:
            raise RuntimeError("cannot cache function: no locator available")
        return function

    monkeypatch.setattr(series_numba, "njit", njit)
    assert series_numba.compiled(len) is len


def test_few_series_are_fitted_without_loading_numba():
    program = (
        "import sys; from aging.decay.series import fit_series;"
        "fit = fit_series([0, 1, 2, 3, 4], [.8, .7, .65, .63, .62], [0, 5]);"
        "assert fit.outcomes[0].label == 'fitted'; assert 'numba' not in sys.modules"
    )
    subprocess.run([sys.executable, "-W", "error", "-c", program], check=True)
