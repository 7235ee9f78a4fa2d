"""NIST/SEMATECH e-Handbook 8.4.2.3: degradation to a threshold, with an Arrhenius slope.

Fifteen units drift in per cent at 65, 85 and 105 C and fail at 30 %. The handbook takes logs of
the rate implied by each of the 45 readings and regresses them as if all were independent. Three
readings of one unit are not: with the unit as a random effect the line stays, as each unit was
read at the same times, and its standard errors nearly double.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from aging.decay.mixed import fit_mixed

HOURS = np.array([200.0, 500, 1000])
DRIFT_PERCENT = {
    65: [[0.87, 1.48, 2.81], [0.33, 0.96, 2.13], [0.94, 2.91, 5.67], [0.72, 1.98, 4.28],
         [0.66, 0.99, 2.14]],
    85: [[1.41, 2.47, 5.71], [3.61, 8.99, 17.69], [2.13, 5.72, 11.54], [4.36, 9.82, 19.55],
         [6.91, 17.37, 34.84]],
    105: [[24.58, 62.02, 124.10], [9.73, 24.07, 48.06], [4.74, 11.53, 23.72],
          [23.61, 58.21, 117.20], [10.90, 27.85, 54.97]],
}  # fmt: skip


def log_time_to_fail():
    """Log hours to 30 % by reading, the design [1, 1e5/(8.617 K)] and the unit, 45 rows."""
    drift = np.array([unit for units in DRIFT_PERCENT.values() for unit in units])
    y = np.log(30) - (np.log(drift) - np.log(HOURS))
    kelvin = np.repeat(list(DRIFT_PERCENT), 5) + 273.16
    inverse = np.broadcast_to(1e5 / (8.617 * kelvin)[:, None], y.shape)
    unit = np.broadcast_to(np.arange(15)[:, None], y.shape)
    return y.ravel(), sm.add_constant(inverse.ravel()), unit.ravel()


def test_the_handbook_regression():
    y, X, _ = log_time_to_fail()
    fit = sm.OLS(y, X).fit()
    np.testing.assert_allclose(fit.params, [-18.94337, 0.81877], atol=5e-6)
    np.testing.assert_allclose(fit.bse, [1.83343, 0.05641], atol=5e-6)
    assert np.sqrt(fit.scale) == pytest.approx(0.5611, abs=5e-5)
    assert fit.df_resid == 43
    assert fit.rsquared == pytest.approx(0.8305, abs=5e-5)
    assert fit.fvalue == pytest.approx(210.7, abs=0.05)


def test_units_matter():
    y, X, unit = log_time_to_fail()
    fit = fit_mixed(y, X, {"unit": unit})
    np.testing.assert_allclose(fit.coefficients, [-18.94337, 0.81877], atol=5e-6)
    means = sm.OLS(y.reshape(15, 3).mean(axis=1), X[::3]).fit()  # one row a unit
    np.testing.assert_allclose(fit.standard_errors, means.bse, rtol=1e-6)
    assert fit.standard_errors[1] / 0.05641 == pytest.approx(1.8, abs=0.05)
    assert fit.effects["unit"].sd[0] > 4 * fit.residual_sd


def test_a_line_through_the_origin_for_each_unit_says_the_same():
    drift = np.array([unit for units in DRIFT_PERCENT.values() for unit in units])
    fit = sm.OLS(np.log(30 / (drift @ HOURS / (HOURS @ HOURS))), log_time_to_fail()[1][::3]).fit()
    assert fit.bse[1] == pytest.approx(0.1025, abs=5e-5)
