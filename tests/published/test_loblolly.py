"""Loblolly pine 329 (R datasets; Kung 1986): R's nls(height ~ SSasymp(age, Asym, R0, lrc)).

A plateau far beyond the data, as 12-month exposures have it. R 4.2.2 prints Asym 94.1282042
(8.4030), R0 -8.2507532 (1.2261), lrc -3.2175782 (0.13858), residual standard error 0.7493111; its
search stops at a relative offset of 1e-5, so its digits beyond the seventh are not all settled.
"""

from __future__ import annotations

import numpy as np
import pytest

from aging.decay.series import fit_series

AGE = [3.0, 5, 10, 15, 20, 25]
HEIGHT = [3.93, 9.34, 26.08, 37.79, 48.31, 56.43]


@pytest.mark.parametrize("engine", ["numpy", "numba"])
def test_asymptote_origin_and_log_rate_with_their_errors(engine):
    fit = fit_series(AGE, HEIGHT, [0, 6], engine=engine)
    start, loss, rate = fit.start[0], fit.loss[0], fit.rate[0]
    assert [start - loss, start, np.log(rate)] == pytest.approx(
        [94.1282042, -8.2507532, -3.2175782], rel=1e-7
    )
    assert fit.sigma[0] == pytest.approx(0.7493111, rel=1e-6)
    to_r = np.array(
        [[1, -1, 0], [1, 0, 0], [0, 0, 1 / rate]]
    )  # Asym, R0, lrc from start, loss, rate
    errors = np.sqrt(np.diag(to_r @ fit.covariance[0] @ to_r.T))
    assert errors == pytest.approx([8.4030, 1.2261, 0.13858], abs=5e-5)


def test_the_path_is_the_same_from_the_first_reading_as_from_age_0():
    fit = fit_series(AGE, HEIGHT, [0, 6])
    t = np.array([0.0, 3, 25, 100])
    by_hand = fit.start[0] - fit.loss[0] * (1 - np.exp(-fit.rate[0] * t))
    assert fit.origin[0] == 3
    np.testing.assert_allclose(fit.predict(t)[0], by_hand, rtol=1e-12)
