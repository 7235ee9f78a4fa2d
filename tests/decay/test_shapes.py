from __future__ import annotations

import numpy as np
import pytest

from aging.decay.series import fit_series
from aging.decay.shapes import SHAPES, shape_named
from aging.errors import CallError

T = np.array([0.0, 1, 2, 5, 9, 14, 20, 24, 36])
BY_HAND = {
    "exponential": lambda t: 0.84 - 0.2 * (1 - np.exp(-0.15 * t)),
    "exponential_drift": lambda t: 0.84 - 0.2 * (1 - np.exp(-0.15 * t)) - 0.001 * t,
    "power": lambda t: 0.84 - 0.03 * t**0.6,
    "line": lambda t: 0.84 - 0.004 * t,
}
PARAMETERS = {
    "exponential": (0.84, 0.2, 0.15),
    "exponential_drift": (0.84, 0.2, 0.15, 0.001),
    "power": (0.84, 0.03, 0.6),
    "line": (0.84, 0.004),
}


@pytest.mark.parametrize("engine", ["numpy", "numba"])
@pytest.mark.parametrize("late", [0.0, 3.0])
@pytest.mark.parametrize("shape", SHAPES)
def test_each_shape_gives_back_what_it_was_drawn_with(shape, late, engine):
    t = T[late <= T]
    fit = fit_series(t, BY_HAND[shape](t), [0, t.size], shape, engine=engine)
    found = [getattr(fit, name)[0] for name in fit.parameters]
    assert fit.outcomes[0].label == "fitted"
    np.testing.assert_allclose(found, PARAMETERS[shape], rtol=1e-6)
    np.testing.assert_allclose(fit.predict([0, 12, 60])[0], BY_HAND[shape](np.array([0, 12, 60])))


@pytest.mark.parametrize("shape", SHAPES)
def test_a_known_start_is_kept_and_not_estimated(shape):
    fit = fit_series(T, BY_HAND[shape](T), [0, T.size], shape, start=0.84)
    assert fit.parameters == SHAPES[shape].parameters[1:]
    assert fit.start[0] == fit.predict(0.0)[0, 0] == 0.84
    found = [getattr(fit, name)[0] for name in fit.parameters]
    np.testing.assert_allclose(found, PARAMETERS[shape][1:], rtol=1e-6)
    assert fit.covariance.shape == (1, len(fit.parameters), len(fit.parameters))


def test_an_unknown_shape_is_refused_with_the_ones_there_are():
    with pytest.raises(CallError, match=r"'plateau'.*exponential, exponential_drift, power, line"):
        shape_named("plateau")
