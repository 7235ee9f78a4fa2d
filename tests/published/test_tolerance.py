"""Normal tolerance factors: NIST/SEMATECH e-Handbook 7.2.6.3 and the standard 95/95 table.

The handbook's one-sided 1.8752 is its approximation; the exact factor is 1.8739536.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import chdtri, ndtri
from scipy.stats import chi2, ncx2

from aging.decay.tolerance import one_sided_factor
from aging.errors import CallError


def two_sided_factor(n, content=0.95, confidence=0.95):
    """Howe 1969 (doi 10.1080/01621459.1969.10500999), the handbook's other factor: a reference."""
    size = np.asarray(n, float)
    spread = (size - 1) * (1 + 1 / size) / chdtri(size - 1, confidence)
    return ndtri(0.5 + 0.5 * content) * np.sqrt(spread)


def test_the_handbook_example_of_43_wafers():
    assert two_sided_factor(43, 0.90, 0.99) == pytest.approx(2.2173159, abs=5e-8)
    assert one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8739536, abs=5e-8)
    assert one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8752, abs=2e-3)


def test_the_one_sided_95_95_table():
    table = {3: 7.65590, 5: 4.20268, 6: 3.70768, 10: 2.91096, 20: 2.39600}
    np.testing.assert_allclose(one_sided_factor(list(table)), list(table.values()), atol=5e-6)


def exact_two_sided(n, content, confidence):
    node, weight = np.polynomial.hermite_e.hermegauss(80)  # over the mean of n, standardised
    reach = ncx2.ppf(content, 1, node**2 / n)
    return brentq(
        lambda k: weight @ chi2.sf((n - 1) * reach / k**2, n - 1) / weight.sum() - confidence,
        0.1,
        99,
    )


def test_howe_is_as_near_the_exact_factor_as_said():
    sizes = [2, 3, 4, 5, 8, 10, 20, 100]
    excess = two_sided_factor(sizes) / [exact_two_sided(n, 0.95, 0.95) for n in sizes] - 1
    np.testing.assert_allclose(excess[:2], [0.05, 0.02], atol=0.005)
    assert (excess[1:] > -0.004).all()
    assert (excess[1:] < 0.021).all()
    assert (one_sided_factor(sizes) < two_sided_factor(sizes)).all()  # it asks for less


@pytest.mark.parametrize("n", [3, 6])
def test_bounds_hold_as_often_as_promised(n):
    sample = np.random.default_rng(n).normal(size=(20_000, n))
    bound = sample.mean(axis=1) - one_sided_factor(n, 0.9, 0.95) * sample.std(axis=1, ddof=1)
    held = (bound < -1.2815516).mean()  # 90 % of all lie above
    assert held == pytest.approx(0.95, abs=0.006)  # four standard errors


@pytest.mark.parametrize("call", [
    lambda: one_sided_factor(1), lambda: one_sided_factor([3, np.nan]),
    lambda: one_sided_factor(5, content=1), lambda: one_sided_factor(5, confidence=95),
])  # fmt: skip
def test_a_wrong_argument_is_named(call):
    with pytest.raises(CallError, match="is not allowed"):
        call()
