"""Ratings: medians, ranks and odds, and a reason where there are none."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aging.decay.ratings import (
    Ratings,
    differences,
    holm,
    medians,
    trend,
)
from aging.errors import CallError

VISITS = (0, 6, 12, 18, 24, 30, 36)


def readings(rows, method="D"):
    """From (formulation, one tuple of ratings a panel, by visit)."""
    return pd.DataFrame(
        [
            (name, f"{name}{p}", float(month), value, method)
            for name, panels in rows
            for p, series in enumerate(panels)
            for month, value in zip(VISITS, series, strict=False)
        ],
        columns=["formulation", "panel", "months", "value", "method"],
    )


FALLING = [(10, 10, 9, 9, 8, 7, 7), (10, 9, 9, 8, 8, 8, 6), (10, 10, 9, 8, 9, 7, 6)]
STEADY = [(10, 10, 10, 9, 10, 9, 9), (10, 10, 9, 10, 10, 10, 9), (10, 10, 10, 10, 9, 10, 9)]
BOTH = readings([("control", FALLING), ("silica", STEADY)])


def test_medians_stay_on_the_scale():
    even = readings([("control", [(10, 8), (10, 7), (9, 4), (9, 3)])])
    found = medians(Ratings.of(even, "chalking_astm"))
    assert found["median"].tolist() == [9, 4]
    assert found["best"].tolist() == [10, 8]
    assert found["worst"].tolist() == [9, 3]
    assert found["panels"].tolist() == [4, 4]


def test_on_a_scale_where_lower_is_better_the_worse_middle_is_the_higher():
    even = readings([("control", [(0, 1), (0, 1.5), (0.5, 2), (0.5, 3)])], method="tape")
    found = medians(Ratings.of(even, "chalking_iso"))
    assert found["median"].tolist() == [0.5, 2]
    assert found["best"].tolist() == [0, 1]


def test_a_worsening_formulation_has_odds_above_1_on_either_scale():
    down = trend(Ratings.of(BOTH, "chalking_astm"), "control")
    up = BOTH.assign(value=(10 - BOTH["value"]) / 2, method="tape")
    mirrored = trend(Ratings.of(up, "chalking_iso"), "control")
    assert down.reason == ""
    assert 1 < down.lower < down.odds_ratio < down.upper
    assert down.tau > 0.7
    assert (down.panels, down.readings) == (3, 21)
    assert mirrored.odds_ratio == pytest.approx(down.odds_ratio, rel=1e-4)


def test_two_levels_are_a_logistic_regression():
    import statsmodels.api as sm

    rows = readings([("control", [(10, 10, 9, 10, 9, 9, 9), (10, 9, 10, 10, 9, 10, 9)])])
    found = trend(Ratings.of(rows, "chalking_astm"), "control")
    peer = sm.Logit(rows["value"] < 10, sm.add_constant(rows["months"] / 12)).fit(disp=False)
    assert np.log(found.odds_ratio) == pytest.approx(peer.params["months"], abs=1e-3)


@pytest.mark.parametrize(
    ("panels", "reason"),
    [
        ([(10,) * 7, (10,) * 7], "all ratings are the same"),
        ([(10, 10, 9, 9, 8, 8, 8), (10, 10, 9, 9, 9, 8, 8)], "no upper limit"),
        ([(7, 8, 8, 9, 9, 10, 10), (7, 8, 8, 9, 9, 10, 10)], "no lower limit"),
        ([(10, 9), (10, 10)], "fewer than 3 visits"),
        ([(10, 9, 10, 9, 8, 8, 7)], "one panel"),
    ],
)
def test_where_no_trend_can_be_told_the_reason_stands(panels, reason):
    found = trend(Ratings.of(readings([("control", panels)]), "chalking_astm"), "control")
    assert reason in found.reason
    assert np.isnan([found.odds_ratio, found.lower, found.upper]).all()


def test_separated_ratings_still_tell_their_direction():
    rows = readings([("control", [(10, 10, 9, 9, 8, 8, 8)] * 2)])
    assert trend(Ratings.of(rows, "chalking_astm"), "control").tau > 0.8


def test_three_against_three_cannot_go_below_a_tenth():
    (found,) = differences(Ratings.of(BOTH, "chalking_astm"), "control")
    assert found.formulation == "silica"
    assert found.superiority == 1
    assert found.p_value == pytest.approx(0.1)
    assert found.p_least == pytest.approx(0.1)
    assert found.panels == (3, 3)


def test_ranks_do_not_know_how_far_apart_ratings_are():
    far = BOTH.assign(value=BOTH["value"].replace({6: 2, 7: 3}))
    near, wide = (differences(Ratings.of(x, "chalking_astm"), "control") for x in (BOTH, far))
    assert near == wide


def test_like_formulations_are_told_apart_as_often_as_promised_and_holm_corrects():
    rng = np.random.default_rng(7)
    p = []
    for _ in range(40):
        rated = [(n, np.clip(10 - rng.poisson(1, (4, 3)), 0, 10).tolist()) for n in "abc"]
        found = differences(Ratings.of(readings(rated), "chalking_astm"), "a")
        assert all(d.p_holm >= d.p_value for d in found)
        p += [d.p_value for d in found]
    assert np.mean(np.array(p) <= 0.1) <= 0.16


def test_holm_steps_down_as_in_statsmodels():
    from statsmodels.stats.multitest import multipletests

    for p in ([0.01, 0.04, 0.03, 0.005], [0.5, 0.5, 0.9], [0.02]):
        assert holm(p) == pytest.approx(multipletests(p, method="holm")[1].tolist())


def test_a_method_that_was_not_told_is_not_made_up():
    assert Ratings.of(BOTH.assign(method=""), "chalking_astm").method == ""


def test_methods_never_meet():
    mixed = BOTH.assign(method=np.where(BOTH["months"] > 12, "A", "D"))
    with pytest.raises(CallError, match="cannot be read as one series"):
        Ratings.of(mixed, "chalking_astm")


def test_all_faults_come_at_once():
    bad = BOTH.assign(value=BOTH["value"] + 0.5, method="Z")
    with pytest.raises(CallError, match=r"10\.5.*by 1; method \['Z'\] unknown"):
        Ratings.of(bad, "chalking_astm")
    with pytest.raises(CallError, match=r"rated twice.*control0"):
        Ratings.of(pd.concat([BOTH, BOTH.head(1)]), "chalking_astm")
    with pytest.raises(CallError, match="empty cells in value"):
        Ratings.of(BOTH.assign(value=np.nan), "chalking_astm")
    with pytest.raises(CallError, match="missing columns"):
        Ratings.of(BOTH.drop(columns="method"), "chalking_astm")
    with pytest.raises(CallError, match="rated property: 'lightness'"):
        Ratings.of(BOTH, "lightness")
    with pytest.raises(CallError, match="no readings"):
        Ratings.of(BOTH.head(0), "chalking_astm")


def test_formulations_without_a_common_visit_are_not_compared():
    apart = BOTH[(BOTH["formulation"] == "control") == (BOTH["months"] < 12)]
    with pytest.raises(CallError, match="no visit in common"):
        differences(Ratings.of(apart, "chalking_astm"), "control")


@pytest.mark.slow
@pytest.mark.parametrize(("level_sd", "pace_sd"), [(0, 0), (1, 0), (0.7, 0.5)])
def test_nine_in_ten_odds_ratios_hold_the_truth(level_sd, pace_sd):
    rng = np.random.default_rng(5)
    years, held = np.array(VISITS) / 12, []
    for _ in range(120):
        pace = 1 + pace_sd * rng.normal(size=(3, 1))
        latent = pace * years + level_sd * rng.normal(size=(3, 1)) + rng.logistic(size=(3, 7))
        rated = (10 - np.digitize(latent, [0.5, 1.5, 2.5, 3.5])).tolist()
        found = trend(Ratings.of(readings([("a", rated)]), "chalking_astm"), "a")
        held.append(found.lower <= np.e <= found.upper)
    assert 0.84 <= np.mean(held) <= 0.97
