"""Effects, doses, surfaces and costs of composition, on draws whose answer is known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aging.comparison import dose as doses_room
from aging.comparison import factorial as factorial_room
from aging.comparison import surface as surface_room
from aging.comparison.costs import cheapest, cost_per_m2, costs
from aging.comparison.dose import dose_response
from aging.comparison.factorial import FIGURES, factorial
from aging.comparison.joint import Joint, campaigns
from aging.comparison.surface import between
from aging.errors import CallError, ModelError

PRICES = pd.DataFrame({
    "additive": ["silica_wt_pct", "hollow_sphere_vol_pct"],
    "price_per_kg": [8.0, 20.0], "density_kg_m3": [np.nan, 40.0],
})  # fmt: skip


@pytest.fixture
def known(monkeypatch):
    """Call with a function of the doses: draws about it with errors of 0.004 (0 for none)."""

    def plant(fitted, doses, truth, error=0.004):
        random, where = np.random.default_rng(4), campaigns(fitted)
        values = {
            (site, mix): truth(doses.loc[mix]) + error * random.standard_normal(2000)
            for site, mix in where
        }
        planted = dict.fromkeys(FIGURES, Joint(values, where))
        for room in (factorial_room, doses_room, surface_room):
            monkeypatch.setattr(room, "figures", lambda *_: planted)

    return plant


def silica(row):
    return row["silica_wt_pct"]


def spheres(row):
    return row["hollow_sphere_vol_pct"]


def effect(found, name, figure="state", scale="additive"):
    mine = (found.frame[["figure", "scale", "effect"]] == [figure, scale, name]).all(axis=1)
    return found.frame[mine].set_index(["level_1", "level_2"])


def test_planted_effects_are_found(fitted, doses, known):
    known(fitted, doses, lambda row: 0.7 + 0.01 * silica(row) + 0.03 * (silica(row) == 8) *
          (spheres(row) == 30))  # fmt: skip
    found = factorial(fitted, doses)
    synergy = effect(found, "hollow_sphere_vol_pct x silica_wt_pct")["estimate"]
    assert synergy[30.0, 8.0] == pytest.approx(0.03, abs=0.001)
    assert synergy[30.0, 4.0] == pytest.approx(0.0, abs=0.001)
    assert synergy.loc[[(np.nan, np.nan)]].iloc[0] == pytest.approx(0.015, abs=0.001)
    main = effect(found, "silica_wt_pct")["estimate"].droplevel(1)
    assert main[4.0] == pytest.approx(0.04, abs=0.001)
    assert main[8.0] == pytest.approx(0.095, abs=0.001)


def test_the_two_scales_can_disagree(fitted, doses, known):
    known(fitted, doses, lambda row: 0.2 * 0.5 ** (silica(row) > 0) * 0.5 ** (spheres(row) > 0))
    found = factorial(fitted, doses)
    pair = "hollow_sphere_vol_pct x silica_wt_pct"
    additive = effect(found, pair, "loss").loc[[(np.nan, np.nan)]].iloc[0]
    product = effect(found, pair, "loss", "multiplicative").loc[[(np.nan, np.nan)]].iloc[0]
    assert additive["lower"] > 0.03  # less gained together than the sum
    assert product["lower"] < 1 < product["upper"]
    assert product["estimate"] == pytest.approx(1, abs=0.02)


def test_the_real_campaign_shows_what_spheres_and_silica_do(fitted, doses):
    found = factorial(fitted, doses)
    start = effect(found, "hollow_sphere_vol_pct", "initial").iloc[0]
    assert start["lower"] > 0.02
    kept = effect(found, "silica_wt_pct", "state")
    assert (kept["estimate"] > 0).all()
    assert found.sites == ("AMARO", "DRYWELL", "KESTREL")


def test_a_design_without_single_steps_is_refused(fitted, doses):
    apart = doses.assign(
        silica_wt_pct=range(6), hollow_sphere_vol_pct=[0.0, 3, 1, 4, 2, 9], tio2_pct=range(6)
    )
    with pytest.raises(ModelError, match="one additive alone"):
        factorial(fitted, apart)


def test_a_plateau_is_found_where_it_is(fitted, doses, known):
    known(fitted, doses, lambda row: 0.6 + 0.02 * min(silica(row), 4), error=0.003)
    found = dose_response(fitted, doses, "silica_wt_pct")
    assert 3.6 < found.levels_off[2] <= 4.1  # between 0 and 4 nothing was exposed
    assert found.forms["hinge"] > 0.7
    assert found.rising == 1
    assert found.notes == ()
    middle = found.curve.set_index("dose")["estimate"]
    assert middle[4] == pytest.approx(0.68, abs=0.005)


def test_a_quicker_loss_is_not_better(fitted, doses, known):
    known(fitted, doses, lambda row: 0.1 + 0.02 * silica(row), error=0.003)
    assert dose_response(fitted, doses, "silica_wt_pct", figure="state").rising == 1
    for worse in ("log speed", "plateau loss", "loss"):
        assert dose_response(fitted, doses, "silica_wt_pct", figure=worse).rising == 0


def test_a_straight_rise_may_go_on(fitted, doses, known):
    known(fitted, doses, lambda row: 0.6 + 0.02 * silica(row))
    assert "beyond 8" in dose_response(fitted, doses, "silica_wt_pct").notes[0]


def test_too_few_doses_are_refused(fitted, doses):
    with pytest.raises(ModelError, match="hollow sphere: exposed at"):
        dose_response(fitted, doses, "hollow_sphere_vol_pct")
    with pytest.raises(CallError, match="additive: 'clay'"):
        dose_response(fitted, doses, "clay")


def test_between_compositions(fitted, doses, known):
    known(fitted, doses, lambda row: 0.6 + 0.01 * silica(row) + 0.002 * spheres(row))
    found = between(fitted, doses, {"silica_wt_pct": 6, "hollow_sphere_vol_pct": 15})
    assert found.lower < 0.69 < found.upper
    assert found.estimate == pytest.approx(0.69, abs=0.003)
    at_one = between(fitted, doses, {"silica_wt_pct": 8, "hollow_sphere_vol_pct": 30})
    assert at_one.upper - at_one.lower < found.upper - found.lower + 0.01


def test_beyond_what_was_exposed_nothing_is_told(fitted, doses):
    with pytest.raises(CallError, match="outside what was exposed"):
        between(fitted, doses, {"silica_wt_pct": 9, "hollow_sphere_vol_pct": 0})
    with pytest.raises(CallError, match="composition"):
        between(fitted, doses, {"silica_wt_pct": 4})


def test_cost_by_mass_and_by_volume(doses):
    cost = cost_per_m2(doses, PRICES, coating_kg_m2=1.5, coating_kg_m3=1250)
    assert cost["S0H0"] == 0
    assert cost["S8H0"] == pytest.approx(0.08 * 1.5 * 8)
    assert cost["S0H30"] == pytest.approx(0.30 * 1.5 / 1250 * 40 * 20)
    assert cost["S8H30"] == pytest.approx(cost["S8H0"] + cost["S0H30"])


def test_what_a_cost_lacks_is_told_at_once(doses):
    with pytest.raises(CallError) as told:
        cost_per_m2(doses.assign(clay_phr=1.0), PRICES[1:], coating_kg_m2=1.5)
    assert all(name in str(told.value) for name in ("silica_wt_pct", "clay_phr", "density"))


def test_cost_of_a_gain(fitted, doses):
    cost = cost_per_m2(doses, PRICES, coating_kg_m2=1.5, coating_kg_m3=1250)
    table = costs(fitted, cost, threshold=0.5).set_index("formulation")
    row = table.loc["S8H30"]
    assert row["cost_per_hundredth"] == pytest.approx(row["extra_cost_per_m2"] / 100 / row["gain"])
    assert row["cost_lower"] < row["cost_per_hundredth"] < row["cost_upper"]
    assert cheapest(table.reset_index()) in set(table.index[table["crosses"]])
    assert cheapest(costs(fitted, cost, threshold=0.99)) is None
