"""A trial from a form: sheets that any reader would accept, places by lot, nothing half made."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from aging.errors import CallError
from aging.fieldwork.new_trial import Trial, new_trial
from aging.fieldwork.plan import visit_plan
from aging.fieldwork.rack_map import as_hung, rack_map
from aging.fieldwork.round_sheet import round_sheet
from aging.intake import composition
from aging.ledger import export, open_ledger
from aging.source import open_source

TRIAL = Trial(
    sites=pd.DataFrame({"site": ["YARD", " ROOF ", None], "climate": ["temperate", None, None]}),
    formulations=pd.DataFrame({
        "formulation": ["C0", "A5"], "role": ["control", "candidate"], "silica_wt_pct": [0.0, 5.5],
    }),
    exposed_on="2026-03-01", replicates=3, filed=1, rows=3, months=(0, 6, 1), seed=4,
)  # fmt: skip


def test_panels_are_named_by_site_and_formulation_and_hang_by_lot():
    made = new_trial(TRIAL).exposure
    outside = made.panels[made.panels["kind"] == "exposed"]
    assert len(outside) == 2 * 2 * 3
    assert set(made.panels.loc[made.panels["kind"] == "file_specimen", "panel"]) == {
        "YARD-C0-F1", "YARD-A5-F1", "ROOF-C0-F1", "ROOF-A5-F1",
    }  # fmt: skip
    for _, rack in outside.groupby("site"):
        assert rack["position"].is_unique
        block = rack["position"].str.extract(r"r(\d)c")[0].to_numpy()
        assert (rack.groupby(block)["formulation"].nunique() == 2).all()  # each row holds both
    again = new_trial(TRIAL).exposure.panels
    pd.testing.assert_frame_equal(made.panels, again)
    other = new_trial(replace(TRIAL, seed=5)).exposure.panels
    assert not made.panels["position"].equals(other["position"])


def test_composition_and_plan_are_kept():
    made = new_trial(TRIAL).exposure
    assert composition(made.formulations)["silica_wt_pct"].tolist() == [0.0, 5.5]
    plan = visit_plan(made, "2026-03-02")
    assert sorted(plan["months"].unique()) == [0, 1, 6]
    sheet = round_sheet(made, "YARD", "2026-03-01")
    assert len(sheet.panels) == 2 * (3 + 1)


def test_the_instrument_named_is_offered_on_the_first_sheet_with_its_weighting():
    told = {"reflectometer": " SR-7 ", "weighting": "G173 global tilt"}
    made = new_trial(replace(TRIAL, **told, calibration_due="2027-01-31"))
    assert not made.blocked
    assert made.exposure.instruments["calibration_due"].tolist() == ["2027-01-31"]
    rig = next(one for one in round_sheet(made.exposure, "YARD", "2026-03-01").rigs
               if "solar_reflectance" in one.properties)  # fmt: skip
    assert rig.options == ({"instrument": "SR-7", "weighting": "G173 global tilt"},)
    assert new_trial(TRIAL).exposure.instruments.empty


def test_the_store_of_a_trial_exports_and_loads_back(tmp_path):
    with open_ledger(tmp_path / "trial.sqlite", create=True) as book:
        book.append(new_trial(TRIAL).exposure, by="Ada", source="a form")
        export(book, tmp_path / "out")
    assert len(open_source(tmp_path / "trial.sqlite").panels) == 2 * 2 * (3 + 1)
    assert (tmp_path / "out" / "plan.csv").read_text().count("\n") == 4


def test_what_is_wrong_is_found_where_it_was_typed():
    twice = pd.DataFrame({"formulation": ["C0", "C0"], "role": ["control", "leader"]})
    found = new_trial(replace(TRIAL, formulations=twice)).findings
    assert ("not-allowed", 2, "role", "leader") in [
        (one.code, one.row, one.column, one.seen) for one in found
    ]
    late = new_trial(replace(TRIAL, exposed_on="2999-01-01"))
    assert late.blocked
    assert {one.code for one in late.findings} == {"future-date"}


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"sites": TRIAL.sites.tail(1)}, "sites"),
        ({"formulations": TRIAL.formulations.head(0)}, "formulations"),
        ({"replicates": 1000}, "panels"),
        ({"replicates": 0}, "replicates"),
        ({"months": ()}, "visits"),
    ],
)
def test_a_trial_that_cannot_be_is_refused(change, what):
    with pytest.raises(CallError, match=what):
        new_trial(replace(TRIAL, **change))


def test_a_map_is_drawn_again_from_the_stored_positions():
    panels = pd.DataFrame({"panel": list("abcde"), "formulation": list("xxyyz")})
    hung = rack_map(panels, 2, 3, seed=1, rack="R1")
    stored = hung[~hung["spare"]].sample(frac=1, random_state=1)
    back = as_hung(stored[["panel", "formulation", "rack", "position"]])
    assert back["panel"].fillna("").tolist() == hung["panel"].fillna("").tolist()
    assert back["spare"].tolist() == hung["spare"].tolist()
    assert as_hung(stored.assign(position="left end")).empty
