from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from aging.comparison.differences import COLUMNS, differences
from aging.comparison.joint import Joint, at, mean_over
from aging.comparison.origins import PARTS, origins
from aging.comparison.ranks import ranks
from aging.errors import CallError, ModelError

KEY = ["site", "formulation", "against", "target"]


@pytest.fixture(scope="module")
def found(fitted):
    return differences(fitted, 36, worthwhile=0.02, margin=0.02, period=(0, 36))


def test_every_formulation_stands_against_its_control_everywhere(found):
    frame = found.frame
    assert list(frame) == list(COLUMNS)
    assert len(frame) == 3 * 4 * 5  # targets, three sites and their mean, formulations
    assert set(frame["against"]) == {"S0H0"}
    assert set(frame["target"]) == {"state", "reading", "period"}


def test_simultaneous_intervals_hold_the_pointwise_ones(found):
    frame = found.frame
    assert (frame["joint_lower"] < frame["lower"]).all()
    assert (frame["joint_upper"] > frame["upper"]).all()
    factor = (frame["joint_upper"] - frame["estimate"]) / (frame["upper"] - frame["estimate"])
    assert factor.groupby([frame["site"], frame["target"]]).std().max() < 1e-9
    assert factor.between(1.05, 2).all()


def test_chances_agree_with_the_draws(fitted, found):
    drawn = at(fitted, 36).gaps("S8H30", "S0H0")
    mean = np.mean(list(drawn.values()), axis=0)
    row = found.frame.set_index(KEY).loc[("all", "S8H30", "S0H0", "state")]
    assert row["probability_worthwhile"] == (mean > 0.02).mean()
    assert row["probability_equivalent"] == (np.abs(mean) < 0.02).mean()
    worst = min(drawn, key=lambda site: np.median(drawn[site]))
    assert (row["worst_site"], row["worst_estimate"]) == (worst, np.median(drawn[worst]))
    assert 0 <= row["p_sites"] <= 1


def test_any_two_can_be_compared(fitted, found):
    turned = differences(fitted, 36, against="S8H30").frame.set_index(KEY)
    there = turned.loc[("all", "S0H0", "S8H30", "state"), "estimate"]
    here = found.frame.set_index(KEY).loc[("all", "S8H30", "S0H0", "state"), "estimate"]
    assert there == pytest.approx(-here)
    every = differences(fitted, 36, every_pair=True).frame
    assert len(every) == 2 * 4 * 15
    family = every.query("site == 'all' and target == 'state'")
    few = found.frame.query("site == 'all' and target == 'state'")
    assert _factor(family) > _factor(few)


def _factor(frame):
    return ((frame["joint_upper"] - frame["estimate"]) / (frame["upper"] - frame["estimate"])).max()


def test_sites_that_disagree_say_so(fitted):
    frame = differences(fitted, 36).frame.query("site == 'all'")
    told = frame["notes"].str.contains("sites disagree")
    assert (told == (frame["p_sites"] <= 0.25)).all()


def test_the_mean_over_a_period_is_that_of_a_fine_grid(fitted):
    fine = np.linspace(0, 36, 361)
    weight = np.full(fine.size, 1.0)
    weight[[0, -1]] = 0.5
    key = ("DRYWELL", "S8H0")
    direct = (weight[:, None] * fitted.draws(fine.tolist())[key]["state"]).sum(0) / 360
    assert np.abs(mean_over(fitted, 0, 36).of(*key) - direct).mean() < 5e-4


def test_parts_of_a_difference_add_up(fitted):
    parts = origins(fitted, 36).query("site == 'DRYWELL'")
    gap = np.median(at(fitted, 36).gaps("S8H30", "S0H0")["DRYWELL"])
    mine = parts[(parts["formulation"] == "S8H30") & parts["part"].isin(PARTS)]
    assert mine["estimate"].sum() == pytest.approx(gap, abs=0.006)  # medians of sums
    assert (parts["lower"] < parts["upper"]).all()
    assert mine.set_index("part")["estimate"]["initial"] > 0.02  # spheres start higher


def test_every_rank_is_taken_once(fitted):
    table = ranks(fitted, 36)
    over = table[table["site"] == "all"].pivot(
        index="formulation", columns="rank", values="probability"
    )
    assert over.shape == (6, 6)
    assert over.sum(axis=0).to_numpy() == pytest.approx(1)
    assert over.sum(axis=1).to_numpy() == pytest.approx(1)
    assert over[6].idxmax() == "S0H0"


def test_wrong_calls_say_how(fitted):
    with pytest.raises(CallError, match="against: 'S9'"):
        differences(fitted, against="S9")
    with pytest.raises(CallError, match="worthwhile: -1"):
        differences(fitted, worthwhile=-1)
    with pytest.raises(CallError, match="period"):
        differences(fitted, period=(36, 12))
    facts = fitted.exposure.formulations.assign(role="candidate")
    exposure = replace(fitted.exposure, formulations=facts)
    lone = replace(fitted, gathered=replace(fitted.gathered, exposure=exposure))
    with pytest.raises(ModelError, match="no site has a control"):
        differences(lone)


def test_trials_that_never_met_are_families_of_their_own(fitted):
    draws = at(fitted, 36)
    older = {(site, f"P{mix}"): drawn for (site, mix), drawn in draws.drawn.items()}
    numbers = {(site, f"P{mix}"): 100 + n for (site, mix), n in draws.campaign.items()}
    both = Joint({**draws.drawn, **older}, {**draws.campaign, **numbers})
    assert set(both.trials.values()) == {"S0H0", "PS0H0"}
    assert all(mix.startswith("P") == (trial == "PS0H0") for mix, trial in both.trials.items())
    linked = Joint(both.drawn, both.campaign | {("AMARO", "S0H0"): numbers["AMARO", "PS0H0"]})
    assert set(linked.trials.values()) == {"PS0H0"}
