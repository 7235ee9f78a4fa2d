"""Before, during and beside a trial: plans, looks, roofs, the laboratory."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.power import NormalIndPower

import aging
from aging.comparison import design
from aging.comparison.design import Plan, assumed, of_fit, plans, smallest_difference
from aging.comparison.laboratory import laboratory
from aging.comparison.looks import LookRule, look, operating, read_rule
from aging.comparison.roofs import roofs
from aging.decay.priors import priors_for
from aging.errors import CallError, ModelError, SourceError
from aging.vocabulary import PROPERTIES

YEAR = (0.0, 1.0, 2.0, 3.0, 6.0, 9.0, 12.0)
RULE = LookRule(date(2021, 1, 1), (6, 12, 18, 24), worthwhile=0.02)


@pytest.fixture(scope="module")
def parts():
    return [assumed(priors_for(PROPERTIES["solar_reflectance"]))]


def test_more_panels_sites_or_time_show_less(parts):
    least = smallest_difference(Plan(2, 2, YEAR), parts)
    assert smallest_difference(Plan(4, 2, YEAR), parts) < least
    assert smallest_difference(Plan(2, 3, YEAR), parts) < least
    assert smallest_difference(Plan(2, 2, (*YEAR, 18.0, 24.0)), parts) < least
    assert smallest_difference(Plan(2, 2, YEAR), parts, power=0.5) < least
    assert smallest_difference(Plan(2, 2, YEAR), parts, level=0.99) > least


def test_with_known_errors_it_is_the_power_of_two_groups(parts, monkeypatch):
    """As statsmodels has it: 20 panels each, standard deviation 0.1, a flat prior."""
    sizes = parts[0].weight.size
    ends = np.full(sizes, 2 * 0.1**2 / 20), np.full(sizes, 1e4)
    monkeypatch.setattr(design, "variances", lambda *_: ends)
    exact = NormalIndPower().solve_power(None, nobs1=20, alpha=0.10, power=0.80)
    assert smallest_difference(Plan(20, 1, YEAR), parts) == pytest.approx(0.1 * exact, rel=0.03)


def test_the_cheapest_plan_that_is_enough_comes_first(fitted):
    table = plans(of_fit(fitted), panels=(1, 3), read_months=(12, 36), wanted=0.02,
                  panel_cost=100, visit_cost=50)  # fmt: skip
    assert table["cost"].is_monotonic_increasing
    assert (table["enough"] == (table["smallest_difference"] <= 0.02)).all()
    assert table["enough"].any()
    row = table.query("sites == 2 and panels == 3 and read_months == 12").iloc[0]
    assert row["cost"] == 2 * (2 * 3 * 100 + 7 * 50)


def test_a_plan_that_is_none_is_refused(parts):
    for plan in ((0, 1, YEAR), (1, 0, YEAR), (1, 1, (3.0,)), (1, 1, (3.0, 1.0))):
        with pytest.raises(CallError):
            Plan(*plan)
    with pytest.raises(CallError, match="power"):
        smallest_difference(Plan(1, 1, YEAR), parts, power=1)


def test_a_look_decides_by_the_rule(fitted):
    found = look(fitted, RULE)
    assert found.look == 24
    frame = found.frame.set_index("formulation")
    assert frame["tail"].to_numpy() == pytest.approx(0.10 / (4 * 5))
    assert frame.loc["S8H30", "decision"] == "promote"
    assert frame.loc["S8H30", "probability_agrees"] > 0.95
    promoted = frame[frame["decision"] == "promote"]
    assert (promoted["lower"] > 0).all()
    assert (frame["lower"] < frame["estimate"]).all()


def test_a_worthless_formulation_is_stopped_and_a_failing_one_too(fitted):
    found = look(fitted, replace(RULE, worthwhile=0.3), {"S8H30": ("elongation",)}).frame
    frame = found.set_index("formulation")
    assert set(frame["decision"]) == {"stop"}
    assert frame.loc["S8H30", "why"] == "fails elongation"
    assert np.isnan(frame.loc["S8H30", "probability_agrees"])


def test_a_rule_set_late_or_not_due_says_so(fitted):
    late = look(fitted, replace(RULE, set_on=date(2022, 1, 1)))
    assert any("set after the trial began" in note for note in late.notes)
    early = look(fitted, replace(RULE, looks=(30,)))
    assert early.look is None
    assert early.frame.empty
    assert any("no look is due" in note for note in early.notes)


def test_no_promotion_before_a_full_year(fitted):
    start = pd.Timestamp("2021-04-06")
    young = aging.fit(fitted.exposure, as_of=start + pd.Timedelta(days=225))
    found = look(young, replace(RULE, worthwhile=0.0))
    assert found.look == 6
    assert "promote" not in set(found.frame["decision"])


def test_wrong_stops_stay_within_the_level_set(parts):
    plan = Plan(3, 3, (*YEAR, 15.0, 18.0, 21.0, 24.0))
    worth = operating(RULE, plan, parts, RULE.worthwhile, 5)
    assert worth["stop"].iloc[-1] < RULE.wrong_stops / 5
    none = operating(RULE, plan, parts, 0.0, 5)
    assert none["promote"].iloc[-1] < RULE.wrong_stops / 5
    assert none["stop"].iloc[-1] > worth["stop"].iloc[-1]
    assert (worth[["stop", "promote", "continue"]].sum(axis=1) - 1).abs().max() < 1e-12
    assert worth["stop"].is_monotonic_increasing


def test_a_rule_is_read_from_its_file(tmp_path):
    path = tmp_path / "rule.json"
    facts = {"set_on": "2021-01-01", "looks": [6, 12, 18, 24], "worthwhile": 0.02}
    path.write_text(json.dumps(facts))
    assert read_rule(path) == RULE
    for wrong in ({"looks": []}, {"set_on": "soon"}, {"worthwhile": "much"}, {"stop": 1}):
        path.write_text(json.dumps(facts | wrong))
        with pytest.raises((SourceError, CallError)):
            read_rule(path)
    path.write_text("{")
    with pytest.raises(SourceError, match="not a rule"):
        read_rule(path)


@pytest.fixture(scope="module")
def on_roofs(fitted):
    """The site KESTREL taken as a roof that reads 0.03 lower in the end."""
    exposure = fitted.exposure
    panels = exposure.panels.copy()
    roof = panels["site"] == "KESTREL"
    panels.loc[roof, "kind"] = "roof_patch"
    readings = exposure.readings.copy()
    mine = readings["panel"].isin(panels.loc[roof, "panel"])
    readings.loc[mine, "value"] -= 0.03
    return aging.fit(replace(exposure, panels=panels, readings=readings))


def test_a_roof_is_told_from_a_rack(on_roofs):
    found = roofs(on_roofs)
    assert set(found.offsets["roof"]) == {"KESTREL"}
    assert len(found.offsets) == 6
    assert found.mean[0] == pytest.approx(found.offsets["estimate"].mean(), abs=0.01)
    assert found.next_roof[2] - found.next_roof[1] > found.mean[2] - found.mean[1]
    assert 0 < found.worth < 1
    assert (found.projected["lower"] < found.projected["upper"]).all()


def test_without_roofs_nothing_is_compared(fitted):
    with pytest.raises(ModelError, match="roof_patch"):
        roofs(fitted)


def with_laboratory(fitted, order):
    """Laboratory soiling of each formulation, three panels each, the first of `order` best."""
    exposure = fitted.exposure
    panels = exposure.panels.drop_duplicates("formulation").set_index("formulation")
    rows = [
        {"panel": panels.loc[mix, "panel"] + f"-L{n}", "read_on": "2021-03-01",
         "property": "solar_reflectance", "value": 0.80 - 0.02 * place + 0.002 * n,
         "evidence": "laboratory_soiling", "reading_id": f"lab-{mix}-{n}",
         "surface_state": "as_exposed"}
        for place, mix in enumerate(order) for n in range(3)
    ]  # fmt: skip
    readings = pd.concat([exposure.readings, pd.DataFrame(rows)], ignore_index=True)
    more = pd.DataFrame([
        {"panel": row["panel"], "formulation": row["panel"].split("-")[1], "site": "AMARO",
         "exposed_on": "2021-04-06", "kind": "file_specimen"} for row in rows
    ])  # fmt: skip
    panels = pd.concat([exposure.panels, more], ignore_index=True)
    changed = replace(exposure, readings=readings, panels=panels)
    return replace(fitted, gathered=replace(fitted.gathered, exposure=changed))


def outdoor_order(fitted):
    mean = fitted.project(36).frame.query("site == 'all' and target == 'state'")
    return list(mean.sort_values("estimate", ascending=False)["formulation"])


def test_a_laboratory_that_agrees_and_one_that_misleads(fitted):
    order = outdoor_order(fitted)
    good = laboratory(with_laboratory(fitted, order))
    row = good.correlation.iloc[0]
    assert row["formulations"] == 6
    assert row["estimate"] > 0.8
    assert good.misleads.empty
    bad = laboratory(with_laboratory(fitted, order[::-1]))
    assert bad.correlation.iloc[0]["estimate"] < -0.8
    assert (bad.misleads["probability"] > 0.9).all()
    assert (order[-1], order[0]) in set(zip(bad.misleads["first"], bad.misleads["second"],
                                            strict=True))  # fmt: skip


def test_too_few_in_common_are_refused(fitted):
    with pytest.raises(ModelError, match="fewer than 4"):
        laboratory(fitted)
