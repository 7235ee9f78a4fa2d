"""NIST Statistical Reference Datasets, nonlinear regression: certified to 11 digits.

Three of the six are shapes of the batch fit (start known to be 0), which takes no starting value:
there the two NIST starts have nothing to act on. All six go through fit_curve from both starts.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import OptimizeWarning, curve_fit

from aging.decay.curve import fit_curve
from aging.decay.outcome import Outcome
from aging.decay.profile import profile_interval
from aging.decay.series import fit_series

HERE = Path(__file__).parent
POINTS = pd.read_csv(HERE / "nist_strd_points.csv", comment="#").groupby("problem")
CERTIFIED = pd.read_csv(HERE / "nist_strd_certified.csv", comment="#").groupby("problem")
EIGHT_DIGITS, SIX_DIGITS = 1e-8, 1e-6
CURVES = {
    "Misra1a": lambda x, b: b[0] * (1 - np.exp(-b[1] * x)),
    "BoxBOD": lambda x, b: b[0] * (1 - np.exp(-b[1] * x)),
    "Misra1b": lambda x, b: b[0] * (1 - (1 + b[1] * x / 2) ** -2),
    "MGH17": lambda x, b: b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4]),
    "Chwirut2": lambda x, b: np.exp(-b[0] * x) / (b[1] + b[2] * x),
    "DanWood": lambda x, b: b[0] * x ** b[1],
}
BATCH = {"Misra1a": "exponential", "BoxBOD": "exponential", "DanWood": "power"}


def points(problem):
    frame = POINTS.get_group(problem)
    return frame["x"].to_numpy(), frame["y"].to_numpy()


def close(seen, certified, digits):
    np.testing.assert_allclose(seen, certified, rtol=digits, atol=0)


@pytest.mark.parametrize("engine", ["numpy", "numba"])
@pytest.mark.parametrize("problem", BATCH)
def test_the_batch_fit_meets_the_certified_values(problem, engine):
    x, y = points(problem)
    certified = CERTIFIED.get_group(problem)
    fit = fit_series(x, y, [0, len(x)], BATCH[problem], start=0.0, engine=engine)
    assert fit.outcomes == (Outcome.FITTED,)
    assert fit.parameters == ("loss", "rate")
    close([-fit.loss[0], fit.rate[0]], certified["certified"], EIGHT_DIGITS)
    close(fit.standard_errors[0], certified["certified_sd"], SIX_DIGITS)
    close(fit.sigma[0], certified["residual_sd"].iloc[0], EIGHT_DIGITS)


def test_the_three_at_once_equal_each_alone():
    data = [points(problem) for problem in ("Misra1a", "BoxBOD")]
    x, y = (np.concatenate(part) for part in zip(*data, strict=True))
    fit = fit_series(x, y, [0, len(data[0][0]), len(x)], start=0.0)
    want = [CERTIFIED.get_group(name)["certified"].iloc[1] for name in ("Misra1a", "BoxBOD")]
    close(fit.rate, want, EIGHT_DIGITS)


@pytest.mark.parametrize("start", ["start1", "start2"])
@pytest.mark.parametrize("problem", CURVES)
def test_the_general_fit_meets_the_certified_values_from_both_starts(problem, start):
    x, y = points(problem)
    certified = CERTIFIED.get_group(problem)
    fit = fit_curve(CURVES[problem], x, y, certified[start])
    close(fit.parameters, certified["certified"], EIGHT_DIGITS)
    close(fit.standard_errors, certified["certified_sd"], SIX_DIGITS)
    close(fit.sigma, certified["residual_sd"].iloc[0], EIGHT_DIGITS)


def test_boxbod_start_1_traps_curve_fit_and_neither_of_ours():
    x, y = points("BoxBOD")
    certified = CERTIFIED.get_group("BoxBOD")
    with pytest.warns(OptimizeWarning):
        trapped, _ = curve_fit(
            lambda x, b1, b2: b1 * (1 - np.exp(-b2 * x)), x, y, p0=certified["start1"]
        )
    flat = ((CURVES["BoxBOD"](x, trapped) - y) ** 2).sum()
    assert flat == pytest.approx(9771.5)
    batch = fit_series(x, y, [0, len(x)], start=0.0)
    general = fit_curve(CURVES["BoxBOD"], x, y, certified["start1"])
    assert batch.rss[0] == pytest.approx(1168.0088766, rel=EIGHT_DIGITS)
    assert general.rss == pytest.approx(1168.0088766, rel=EIGHT_DIGITS)
    interval = profile_interval(x, y, [0, len(x)], "rate", start=0.0, level=0.95)
    assert interval.lower[0] < certified["certified"].iloc[1] < interval.upper[0] < 2
