"""Two additives are judged in a trial, a look is taken by a rule, the next trial is planned."""

from __future__ import annotations

import json

import pytest
from conftest import cut
from walk import Walk, serving, typed

import aging
from aging.comparison.design import of_fit, plans
from aging.comparison.factorial import factorial
from aging.comparison.lead import leads
from aging.intake import composition
from dashboard import lead_words, trial_wording, ways_words, wording

GRID = ("S0H0", "S8H0", "S0H30", "S8H30")  # silica and spheres, alone and together
RULE = {"set_on": "2025-03-01", "looks": [6, 12, 18, 24], "worthwhile": 0.02, "wrong_stops": 0.10}
WANTED = 0.02


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """A folder as a person has it: the racks, and the rule of the trial."""
    home = tmp_path_factory.mktemp("home")
    (home / "racks").mkdir()
    cut(home / "racks", GRID)
    (home / "rule.json").write_text(json.dumps(RULE), encoding="utf-8")
    return home


@pytest.mark.parametrize("width", [1280, pytest.param(390, marks=pytest.mark.slow)])
def test_a_formulator_sees_who_leads_and_whether_two_additives_help_each_other(
    browser, home, width, tmp_path
):
    fitted = aging.fit(home / "racks")
    with serving("racks", cwd=home) as address:
        walk = Walk(browser, address, width, tmp_path)
        walk.open()
        walk.at(ways_words.WAYS_HEADING)
        walk.step("ways")
        walk.go(ways_words.LEADING, ways_words.LEADING)
        walk.step("who_leads")
        (lead,) = leads(fitted, 36)
        first = lead.chances.iloc[0]
        assert walk.figures()[lead_words.BEST] == wording.chance(first["probability"])

        walk.go(lead_words.COMPARE_IT, wording.COMPARE)
        walk.step("compare")
        told = aging.compare(home / "racks", months=36).frame
        best = told.query("target == 'state' and site == 'all'").nlargest(1, "estimate").iloc[0]
        assert f"is {best['formulation']}, {best['estimate']:+.3f}" in walk.text()
        assert walk.text().index(trial_wording.RANKS_HEADING) < walk.text().index(
            trial_wording.GUARDS_HEADING
        )
        walk.pick(trial_wording.CANDIDATE, "S8H0")
        walk.step("compare_another")
        assert "S8H0 against its control" in walk.text()

        walk.menu(ways_words.SECTIONS["judge"], wording.ADDITIVES)
        walk.step("synergy")
        found = factorial(fitted, composition(fitted.exposure.formulations)).frame
        both = found.query("figure == 'state' and scale == 'additive'")
        both = both[both["effect"].str.contains(" x ")]["estimate"].iloc[0]
        assert f"{both:+.3f} beyond the sum of each alone" in walk.text()


def test_a_look_by_the_rule_stops_or_promotes_as_compare_would(home):
    typed("look", "racks", "--rule", "rule.json", "--json", "look.json", cwd=home)
    told = json.loads((home / "look.json").read_text(encoding="utf-8"))
    known = aging.compare(home / "racks", months=36).frame
    known = known.query("target == 'state' and site == 'all'").set_index("formulation")
    assert {row["formulation"] for row in told["rows"]} == set(known.index)
    for row in told["rows"]:
        assert row["estimate"] == pytest.approx(known.loc[row["formulation"], "estimate"])
        surely = row["lower"] > 0, row["upper"] < RULE["worthwhile"]
        assert row["decision"] == {(1, 0): "promote", (0, 1): "stop"}.get(surely, "continue")


def test_the_next_trial_is_the_cheapest_that_shows_what_is_wanted(home):
    asked = ("design", "racks", "--wanted", WANTED, "--panel-cost", 40, "--visit-cost", 100)
    rows = plans(
        of_fit(aging.fit(home / "racks")), formulations=6, panel_cost=40, visit_cost=100
    ).to_dict("records")
    enough = [row for row in rows if row["smallest_difference"] <= WANTED]
    assert 0 < len(enough) < len(rows)
    best = min(enough, key=lambda row: row["cost"])
    assert (
        f"cheapest that shows {WANTED:g}: sites {best['sites']:g}, panels a formulation and site "
        f"{best['panels']:g}, read to month {best['read_months']:g}"
    ) in " ".join(typed(*asked, cwd=home).split())
