from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from claim_campaign import campaign
from scipy import stats

from aging.claims import Evidence, floored, propose
from aging.claims.proposal import mean_and_bound, reading_draws
from aging.errors import CallError, ModelError
from aging.projection import fit
from aging.vocabulary import property_named

SR, SRI, YI = map(property_named, ("solar_reflectance", "sri", "yellowness_index"))


@pytest.mark.parametrize(("value", "prop", "expected"), [
    (0.63, SR, 0.63), (0.6299, SR, 0.62), (0.69999, SR, 0.69), (0.1 + 0.2, SR, 0.3),
    (0.29, SR, 0.29), (0.57, SR, 0.57), (1.0, SR, 1.0), (0.7 - 0.07, SR, 0.63),
    (75.999, SRI, 75),
    (-0.5, SRI, -1), (64.0, SRI, 64), (7.21, YI, 7.3), (7.2, YI, 7.2),
])  # fmt: skip
def test_nothing_is_rounded_to_the_better_side(value, prop, expected):
    assert floored(value, prop) == expected


def test_every_hundredth_stays_itself():
    hundredths = [k / 100 for k in range(101)]
    assert [floored(x, SR) for x in hundredths] == hundredths
    assert np.isnan(floored(float("nan"), SR))


def test_the_value_is_the_floor_of_the_one_sided_bound_of_the_mean_reading(evidence):
    found = propose(evidence, "A8", "projected")
    frame = evidence.fit.project([36.0], 0.95).frame.query("target == 'reading'")
    own = frame[frame["formulation"] == "A8"].set_index("site")["one_sided_bound"]
    assert found.bound == pytest.approx(own["all"], abs=1e-12)
    assert found.value == np.floor(100 * own["all"]) / 100 <= found.bound < found.estimate
    sites = own.drop("all")
    assert (found.worst_site, found.worst_value) == (sites.idxmin(), floored(sites.min(), SR))
    assert (found.panels, round(found.observed)) == (9, 24)


def test_retention_and_sri(evidence):
    kept = propose(evidence, "A8", "projected", retention=True)
    assert kept.property == "solar_reflectance retention"
    value = propose(evidence, "A8", "projected")
    assert kept.value == pytest.approx(value.bound / 0.85, abs=0.015)
    index = propose(replace(evidence, fit=evidence.fit.told_as("sri")), "A8", "projected")
    assert index.value == int(index.bound)
    hot = replace(evidence, fit=evidence.fit.told_as("surface_temperature"))
    worse = propose(hot, "A8", "projected")
    assert worse.value >= worse.bound > worse.estimate


def test_measured_mean_with_its_own_bound(evidence):
    found = propose(evidence, "A8", "measured", 24)
    read = evidence.around("A8", 24, 30)
    assert len(read) == 9
    assert found.estimate == pytest.approx(read.groupby("site")["value"].mean().mean())
    assert found.value == floored(found.estimate, SR)
    assert found.bound < found.estimate
    with pytest.raises(ModelError, match="measured"):
        propose(evidence, "A8", "measured", 36)


def test_measured_retention_is_each_panels_own_share(evidence):
    found = propose(evidence, "A8", "measured", 24, retention=True)
    rows = evidence.of("A8")
    new = rows[rows["months"] < 0.5].set_index("panel")["value"]
    late = evidence.around("A8", 24, 30).set_index("panel")
    share = (late["value"] / new).groupby(late["site"]).mean().mean()
    assert found.estimate == pytest.approx(share)


def test_bound_of_the_mean_is_students():
    one = pd.DataFrame({"site": "K", "value": [0.70, 0.71, 0.73, 0.69]})
    mean, bound = mean_and_bound(one, SR)
    expected = stats.ttest_1samp(one["value"], 0).confidence_interval(0.90).low
    assert (mean, bound) == (pytest.approx(0.7075), pytest.approx(expected))
    two = pd.concat([one, one.assign(site="L", value=[0.60, 0.61, 0.66, 0.61])])
    welch = stats.ttest_ind(
        two["value"][two["site"] == "K"], -two["value"][two["site"] == "L"], equal_var=False
    ).confidence_interval(0.90)
    assert mean_and_bound(two, SR)[1] == pytest.approx(welch.low / 2)
    assert mean_and_bound(one, YI)[1] == pytest.approx(2 * mean - bound)
    assert np.isnan(mean_and_bound(one[:1], SR)[1])


def test_a_claimed_bound_of_the_mean_holds_as_often_as_it_says():
    random = np.random.default_rng(5)
    held = 0
    for _ in range(400):
        values = random.normal(0.7, 0.02, (3, 3))
        read = pd.DataFrame({"site": np.repeat(["a", "b", "c"], 3), "value": values.ravel()})
        held += mean_and_bound(read, SR)[1] < 0.7
    assert held / 400 == pytest.approx(0.95, abs=0.04)


def test_default_and_laboratory_values(evidence, exposure):
    initial = evidence.of("A8").query("months < 1").groupby("panel")["value"].first().mean()
    found = propose(evidence, "A8", "default formula")
    assert found.estimate == pytest.approx(0.2 + 0.65 * (initial - 0.2), abs=0.002)
    assert found.value == floored(found.estimate, SR)
    with pytest.raises(ModelError, match="laboratory-aged"):
        propose(evidence, "A8", "laboratory-aged")
    soiled = exposure.readings.query("panel.str.contains('A8-1')").drop_duplicates("panel")
    soiled = soiled.assign(evidence="laboratory_soiling", value=[0.66, 0.67, 0.68])
    known = replace(exposure, readings=pd.concat([exposure.readings, soiled]))
    gathered = replace(evidence.fit.gathered, exposure=known)
    lab = Evidence(replace(evidence.fit, gathered=gathered))
    assert propose(lab, "A8", "laboratory-aged").estimate == pytest.approx(0.67)


def test_batches_that_differ_leave_the_value_of_the_worst(exposure):
    panels = exposure.panels
    known = exposure.readings.merge(panels[["panel", "formulation", "replicate"]], on="panel")
    dull = ((known["formulation"] == "A8") & (known["replicate"] == 3)).to_numpy()
    readings = exposure.readings.assign(value=known["value"] - 0.03 * dull)
    told = {3: "DULL"}
    batch = panels["replicate"].map(lambda one: told.get(one, "USUAL"))
    one = Evidence(fit(replace(exposure, readings=readings)))
    two = Evidence(
        fit(replace(exposure, readings=readings, panels=panels.assign(paint_batch=batch)))
    )
    for basis, months in (("projected", 36), ("measured", 24)):
        alone, apart = (propose(each, "A8", basis, months) for each in (one, two))
        assert (apart.bound, apart.estimate) == (alone.bound, alone.estimate)
        assert alone.value - apart.value == pytest.approx(0.02, abs=0.0101)  # 2/3 of 0.03
        assert apart.notes[-1].endswith("the value is that of DULL, which does worst")
    kept = propose(two, "A8", "projected", retention=True)
    assert kept.value < propose(one, "A8", "projected", retention=True).value
    other = propose(two, "A0", "projected", 30)
    assert other.value == propose(one, "A0", "projected", 30).value


def test_a_rated_value_is_taken_as_issued(evidence):
    found = propose(evidence, "A8", "rated", rated=0.687)
    assert (found.value, found.worst_site) == (0.687, "")
    for basis, value in (("rated", None), ("projected", 0.7)):
        with pytest.raises(CallError, match="value"):
            propose(evidence, "A8", basis, rated=value)


def test_nothing_is_proposed_where_nothing_can_be_projected():
    lone = campaign(0)
    found = propose(Evidence(fit(lone)), "A8", "internal")
    assert np.isnan([found.value, found.bound, found.estimate]).all()
    assert any("no time between" in note for note in found.notes)


def test_wrong_calls_are_named(evidence):
    with pytest.raises(CallError, match=r"formulation: 'B1'.*A0, A8"):
        propose(evidence, "B1", "projected")
    with pytest.raises(CallError, match="retention"):
        propose(evidence, "A8", "default formula", retention=True)


def test_site_draws_make_the_mean(evidence):
    drawn = reading_draws(evidence.fit, 36.0)["A8"]
    sites = [one for site, one in drawn.items() if site != "all"]
    assert len(sites) == 3
    np.testing.assert_allclose(drawn["all"], sum(sites) / 3)
