"""Batches on common lines against published shelf lives.

LeBlond, Griffith, Aubuchon, Journal of Validation Technology 17(3) (2011) 47-68: assay of batches
in percent, limit 95, one-sided 95 % bound: 26 months for batches 2, 5, 7 and 23.4 for 3, 4, 5. The
further digits were computed with statsmodels' least squares and a root finder.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.formula.api as smf
from pandas import DataFrame

from aging.comparison.pooling import ALPHA, ONE_LINE, ONE_SLOPE, OWN_LINES, batches, heterogeneity
from aging.errors import CallError

DATA = {
    "b2": "0 101|1 101.3|3 99.8 99.2|6 99.5 97.8|12 97.4 97.2|24 96.9 96",
    "b3": "0 104.8|3 103 101.2|6 100.8 99.2|12 98.6 97.2|24 97.6 98",
    "b4": "0 104|3 103.2|6 102.8 103.3|12 102.4 101.2|24 99.1 99.5",
    "b5": "0 102|1 101.4|2 100.8|3 100.2 99.7|6 98.8 98.5|12 98 97.1|24 96.6 96.1",
    "b7": "0 101.3|1 101.5|3 100.2 99.8|6 99 98.5|12 98.5 97.4|24 96.6 96.4",
    "b8": "0 101.6|3 100|6 99|12 97.8 97",
}


def table(*names):
    rows = [
        (float(month), float(value), name)
        for name in names
        for visit in DATA[name].split("|")
        for month, *values in [visit.split()]
        for value in values
    ]
    return DataFrame(rows, columns=["t", "y", "b"])


def found(*names):
    data = table(*names)
    return batches(data["t"], data["y"], data["b"])


def test_batches_that_pool_to_one_line():
    result = found("b2", "b5", "b7")
    assert result.model == ONE_LINE
    assert (result.f_slopes, result.p_slopes) == pytest.approx((0.229, 0.797), abs=5e-4)
    assert (result.f_intercepts, result.p_intercepts) == pytest.approx((0.436, 0.651), abs=5e-4)
    assert result.intercept == pytest.approx([100.567] * 3, abs=5e-4)
    assert result.slope == pytest.approx([-0.192994] * 3, abs=5e-7)
    assert result.crossing(95) == pytest.approx(25.9957631369, abs=1e-7)


def test_batches_that_share_only_the_slope():
    result = found("b3", "b4", "b5")
    assert result.model == ONE_SLOPE
    assert (result.f_slopes, result.p_slopes) == pytest.approx((0.183, 0.834), abs=5e-4)
    assert result.f_intercepts == pytest.approx(21.738, abs=5e-4)
    assert result.p_intercepts == pytest.approx(6e-6, rel=0.1)
    assert result.intercept == pytest.approx([102.176, 104.255, 100.820], abs=5e-4)
    assert result.slope == pytest.approx([-0.213121] * 3, abs=5e-7)
    assert result.crossing(95) == pytest.approx(23.3972651235, abs=2e-6)


def test_own_lines_where_slopes_differ():
    data = table("b2", "b5")
    data.loc[data["b"] == "b5", "y"] -= 0.5 * data["t"]
    result = batches(data["t"], data["y"], data["b"])
    assert result.model == OWN_LINES
    lines = smf.ols("y ~ t * C(b)", data).fit().params
    assert result.slope == pytest.approx([lines["t"], lines["t"] + lines["t:C(b)[T.b5]"]])
    assert result.crossing(95) < found("b2", "b5").crossing(95)


def test_a_limit_never_reached_and_one_reached_at_once():
    result = found("b2", "b5")
    assert np.isnan(result.crossing(20))
    assert result.crossing(150) == 0


def test_too_little_is_refused():
    data = table("b2", "b5")
    with pytest.raises(CallError, match="batches: 1"):
        batches(data["t"], data["y"], ["b2"] * len(data))
    with pytest.raises(CallError, match="times of batch b5"):
        batches([0.0, 1, 2, 1], [1.0, 2, 3, 4], ["b2", "b2", "b2", "b5"])
    with pytest.raises(CallError, match="readings: 4"):
        batches([0.0, 1, 0, 1], [1.0, 2, 3, 4], ["b2", "b2", "b5", "b5"])


def test_sites_that_differ_by_error_alone_agree():
    random, variance = np.random.default_rng(1), np.full((3, 400), 1e-4)
    p = heterogeneity(random.normal(0, 0.01, (3, 400)), variance)[1]
    assert np.mean(p < ALPHA) == pytest.approx(ALPHA, abs=0.05)
    q, p = heterogeneity(np.array([[0.0], [0.05], [0.1]]), variance[:, :1])
    assert q == pytest.approx(50)
    assert p < ALPHA
