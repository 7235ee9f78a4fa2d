from __future__ import annotations

import numpy as np
import pytest

from aging.decay.curve import fit_curve
from aging.decay.series import fit_series
from aging.errors import CallError, ModelError

T = np.array([0.0, 1, 2, 3, 4, 6, 8, 10, 12, 18])
NOISE = np.array([2, -3, 1, 4, -2, -1, 3, -4, 1, 0]) * 1e-3


def approach(t, b):
    return b[0] - b[1] * (1 - np.exp(-b[2] * t))


def test_on_a_shape_of_the_table_it_agrees_with_the_batch_fit():
    y = approach(T, (0.84, 0.2, 0.15)) + NOISE
    fit = fit_curve(approach, T, y, [0.8, 0.1, 0.1])
    batch = fit_series(T, y, [0, T.size])
    assert fit.parameters == pytest.approx([batch.start[0], batch.loss[0], batch.rate[0]], rel=1e-8)
    np.testing.assert_allclose(fit.covariance, batch.covariance[0], rtol=1e-6)
    assert (fit.n, fit.sigma) == (10, pytest.approx(batch.sigma[0], rel=1e-10))


def test_a_shape_of_ones_own_is_found_from_a_start_with_a_zero():
    def logarithm(t, b):
        return b[0] - b[1] * np.log1p(t / np.exp(b[2]))

    fit = fit_curve(logarithm, T, logarithm(T, (0.84, 0.05, 0.7)), [0.8, 0.1, 0.0])
    assert fit.parameters == pytest.approx([0.84, 0.05, 0.7], rel=1e-7)


def test_parameters_the_data_cannot_tell_apart_are_an_error_not_a_guess():
    with pytest.raises(ModelError, match="no optimum determines all 3 parameters"):
        fit_curve(lambda t, b: b[0] + b[1] - b[2] * t, T, 0.8 - 0.01 * T + NOISE, [0.4, 0.4, 0.01])


def test_a_curve_that_is_nowhere_finite_is_an_error():
    with pytest.raises(ModelError):
        fit_curve(lambda t, b: np.log(-1 - b[0] ** 2 - t), T, T, [1.0])


@pytest.mark.parametrize(
    ("values", "start", "message"),
    [
        (np.r_[np.nan, np.ones(9)], [1.0, 1, 1], "values: 1 not usable"),
        (np.ones(10), [1.0, np.inf, 1], "start"),
        (np.ones(10), np.ones(10), "readings: 10.*more than the 10 parameters"),
    ],
)
def test_a_call_that_cannot_be_fitted_is_refused(values, start, message):
    with pytest.raises(CallError, match=message):
        fit_curve(approach, T, values, start)
