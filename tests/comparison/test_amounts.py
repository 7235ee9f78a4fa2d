from __future__ import annotations

import numpy as np
import pytest

from aging.comparison.amounts import amounts, told, worthwhile
from aging.comparison.family import MANY, Gaps, intervals
from aging.optics.heat import sri, surface_temperature
from aging.vocabulary import DERIVED, PROPERTIES


def test_each_property_that_can_be_projected_has_an_amount_and_says_why():
    fitted = {one.name for one in PROPERTIES.values() if one.scale != "ordinal"}
    assert set(amounts()) == fitted | set(DERIVED)
    for name, (amount, source) in amounts().items():
        assert amount >= {**PROPERTIES, **DERIVED}[name].step, name
        assert source.startswith("assumed: "), name


def test_calculated_amounts_are_those_of_reflectance():
    whole, part = (f(np.array([0.6, 0.6 + worthwhile("solar_reflectance")]), np.full(2, 0.9))
                   for f in (sri, lambda r, e: surface_temperature(r, e, "medium")))  # fmt: skip
    assert worthwhile("sri") == pytest.approx(np.ptp(whole), abs=0.5)
    assert worthwhile("surface_temperature") == pytest.approx(np.ptp(part), abs=0.1)


def test_an_amount_is_told_with_its_unit():
    assert "1 (°C), assumed" in told("surface_temperature", "°C")
    assert ": 3, assumed" in told("sri", "1")


def test_in_single_precision_many_pairs_read_the_same():
    random = np.random.default_rng(2)
    draws = random.standard_normal((70, 400))
    first, second = np.triu_indices(70, 1)
    assert len(first) > MANY
    found = intervals(Gaps(((draws, first, second),)), 0.9)
    exact = intervals(draws[first] - draws[second], 0.9)
    for name in ("estimate", "joint_lower", "joint_upper", "bound"):
        assert getattr(found, name) == pytest.approx(getattr(exact, name), abs=1e-5)
