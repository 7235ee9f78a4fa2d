"""What claims rest on, against published values.

Shelf lives by the claim rule (the worst batch's one-sided 95 % bound against a limit): LeBlond,
Griffith, Aubuchon, Journal of Validation Technology 17(3) (2011) 47-68, data in `test_shelf_life`:
26, 23.4 and, of batches with slopes of their own, 15.6 months. Default aged values: 0.2 + 0.65
(initial - 0.2). Tolerance factors: the one-sided 95/95 table. SRI of thresholds: ASTM E1980.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from test_shelf_life import found

from aging.claims import floored
from aging.claims.gates import GATES
from aging.claims.proposal import mean_and_bound
from aging.decay.tolerance import one_sided_factor
from aging.optics.criteria import default_aged
from aging.optics.heat import sri
from aging.vocabulary import property_named

SR, SRI = property_named("solar_reflectance"), property_named("sri")


@pytest.mark.parametrize(("batches", "months"), [
    (("b2", "b5", "b7"), 26.0), (("b3", "b4", "b5"), 23.4), (("b4", "b5", "b8"), 15.6),
])  # fmt: skip
def test_a_claim_at_the_limit_holds_until_the_published_month(batches, months):
    """The value claimed for a month, floored bound of the worst batch, reaches 95 just so long."""
    lines = found(*batches)
    before, after = (lines.bound(months + step).min() for step in (-0.06, 0.06))
    assert before > 95 > after
    assert lines.crossing(95) == pytest.approx(months, abs=0.05)


def test_default_aged_values():
    rule = next(one for one in default_aged() if one.beta == 0.65)
    values = rule.reflectance([0.80, 0.85, 0.88])
    np.testing.assert_allclose(values, [0.590, 0.6225, 0.642], atol=1e-12)
    assert [floored(x, SR) for x in values] == [0.59, 0.62, 0.64]


def test_three_panels_and_the_95_95_table():
    limit = GATES.loc["tolerance", "limit"]
    np.testing.assert_allclose(one_sided_factor([3, 10]), [7.65590, 2.91096], atol=5e-6)
    assert one_sided_factor(3) > limit > one_sided_factor(10)
    assert one_sided_factor(9) > limit


def test_one_sided_bound_of_a_mean():
    """NIST/SEMATECH e-Handbook 7.2.2.1, particle counts: mean 53.7, s 6.567, n 10, t 1.833."""
    counts = [50, 48, 44, 56, 61, 52, 53, 55, 67, 51]
    read = pd.DataFrame({"site": "wafer", "value": np.array(counts, float)})
    mean, bound = mean_and_bound(read, SR)
    assert mean == pytest.approx(53.7)
    assert bound == pytest.approx(53.7 - 1.833 * 6.567 / 10**0.5, abs=5e-3)


def test_sri_of_the_thresholds_is_floored():
    assert floored(sri(0.63, 0.75), SRI) == 72  # not the 75 that stands beside it
    assert floored(sri(0.55, 0.75), SRI) < 64
