"""Shares of dirt: ratios of means whose intervals hold as often as they say."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from aging.errors import CallError
from aging.optics.dirt import (
    Replicates,
    cleanliness,
    loss_shares,
    one_kind,
    ratio_of_means,
    retention,
    wash_restoration,
)

NEW = Replicates.of([0.86, 0.85, 0.87])
EXPOSED = Replicates.of([0.64, 0.66, 0.65])
WASHED = Replicates.of([0.78, 0.79, 0.80])
BLEACHED = Replicates.of([0.82, 0.83, 0.84])


def test_ratios_are_of_means():
    assert retention(EXPOSED, NEW).estimate == pytest.approx(1.95 / 2.58)
    assert cleanliness(EXPOSED, WASHED).estimate == pytest.approx(1.95 / 2.37)
    assert wash_restoration(WASHED, NEW).estimate == pytest.approx(2.37 / 2.58)


def test_shares_of_the_loss_add_up():
    states = {"bleached": BLEACHED, "as_exposed": EXPOSED, "washed": WASHED}
    found = loss_shares(NEW, states)
    assert list(found) == ["washed", "bleached", "removable", "permanent"]
    assert found["washed"].estimate == pytest.approx(0.14 / 0.21)
    assert found["bleached"].estimate == pytest.approx(0.04 / 0.21)
    assert found["removable"].estimate + found["permanent"].estimate == pytest.approx(1)
    assert found["permanent"].lower == pytest.approx(1 - found["removable"].upper)


@pytest.mark.parametrize("paired", [True, False])
def test_each_bound_is_where_a_t_test_turns(paired):
    """Fieller's bounds R are those at which y - R x is just not told from 0 at the level."""
    found = ratio_of_means(EXPOSED, NEW, paired=paired, level=0.9)
    for bound in (found.lower, found.upper):
        scaled = bound * NEW.values
        if paired:
            p = stats.ttest_1samp(EXPOSED.values - scaled, 0).pvalue
        else:
            gap = EXPOSED.values.mean() - scaled.mean()
            error = np.sqrt((EXPOSED.values.var(ddof=1) + scaled.var(ddof=1)) / 3)
            p = 2 * stats.t.sf(abs(gap) / error, found.df)
        assert p == pytest.approx(0.1, abs=1e-9)


def test_unpaired_degrees_of_freedom_are_welchs():
    found = ratio_of_means(EXPOSED, NEW, paired=False)
    welch = stats.ttest_ind(EXPOSED.values, found.estimate * NEW.values, equal_var=False)
    assert found.df == pytest.approx(welch.df)
    assert found.panels == 6


def test_nine_in_ten_intervals_hold_the_truth():
    rng = np.random.default_rng(20261125)
    held = 0
    for _ in range(1500):
        new = rng.normal(0.86, 0.008, 4)
        exposed = new - 0.21 + rng.normal(0, 0.012, 4)
        washed = new - 0.06 + rng.normal(0, 0.008, 4)
        states = {"as_exposed": Replicates.of(exposed), "washed": Replicates.of(washed)}
        share = loss_shares(Replicates.of(new), states)["removable"]
        held += share.lower <= 0.15 / 0.21 <= share.upper
    assert held / 1500 == pytest.approx(0.9, abs=0.025)


def test_a_loss_that_cannot_be_told_from_none_has_no_bounds():
    same = Replicates.of([0.86, 0.84, 0.875])
    found = loss_shares(NEW, {"as_exposed": same, "washed": WASHED})["removable"]
    assert (found.lower, found.upper) == (-np.inf, np.inf)
    assert "cannot be told from 0" in found.note


def test_laboratory_soiling_never_meets_an_outdoor_series():
    soiled = Replicates.of([0.6, 0.61, 0.6], "laboratory_soiling")
    assert retention(soiled, Replicates.of(NEW.values, "laboratory_soiling")).evidence == (
        "laboratory_soiling"
    )
    with pytest.raises(CallError, match="laboratory_soiling, outdoor"):
        retention(soiled, NEW)
    with pytest.raises(CallError, match="one result takes one kind"):
        loss_shares(NEW, {"as_exposed": soiled, "washed": WASHED})
    with pytest.raises(CallError, match="slurry"):
        one_kind(["slurry", "outdoor"])
    with pytest.raises(CallError, match="hearsay"):
        Replicates.of([1, 2], "hearsay")


@pytest.mark.parametrize("values", [[0.8], [0.8, np.nan], [[0.8, 0.7]]])
def test_replicates_are_two_or_more_panels(values):
    with pytest.raises(CallError, match="one a panel"):
        Replicates.of(values)


def test_pairs_and_stages_are_checked():
    with pytest.raises(CallError, match="as many of both"):
        retention(EXPOSED, Replicates.of([0.8, 0.8]))
    with pytest.raises(CallError, match="at least one cleaned state"):
        loss_shares(NEW, {"as_exposed": EXPOSED})
    with pytest.raises(CallError, match="polished"):
        loss_shares(NEW, {"as_exposed": EXPOSED, "polished": WASHED})
    with pytest.raises(CallError, match="level"):
        retention(EXPOSED, NEW, level=90)
