"""Each gate closes on the evidence that it is about, and says when it opens."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from aging.claims import GATES, Evidence, assess
from aging.claims.asked import LIMITS
from aging.claims.gates import RULES
from aging.comparison.pooling import ALPHA
from aging.errors import CallError
from aging.projection import fit
from aging.vocabulary import CLAIM_BASES


def gates(evidence, basis="substantiated", months=36.0, **more):
    return {one.gate: one for one in assess(evidence, "A8", basis, months, **more)}


def failing(found):
    return {name for name, one in found.items() if not one.met}


def with_facts(evidence, **sheets):
    """The same fit on other facts."""
    known = replace(evidence.fit.exposure, **sheets)
    gathered = replace(evidence.fit.gathered, exposure=known)
    return replace(evidence, fit=replace(evidence.fit, gathered=gathered))


def test_the_table_and_the_rules_name_the_same_gates():
    assert set(GATES.index) == set(RULES)
    assert GATES[["reason", "source", "unit"]].notna().all(axis=None)
    named = set(GATES["applies_to"].str.split("; ").explode())
    assert named == set(CLAIM_BASES) - {"internal"} | {"share of roofs"}


def test_in_order_all_gates_are_open(evidence):
    found = gates(evidence)
    assert not failing(found)
    assert found["beyond"].seen == "24.0 months at the site read least"
    assert all(one.how == "" for one in found.values())
    assert assess(evidence, "A8", "internal") == ()


def test_extrapolation_is_at_most_twice_and_a_year(evidence):
    assert failing(gates(evidence, months=37)) == {"beyond"}
    found = gates(evidence, months=50)
    assert failing(found) == {"beyond", "ratio"}
    assert found["ratio"].how == "from 2024-03-31 on"  # 25 months of 30.44 days
    assert found["beyond"].how == "from 2025-05-01 on"


def test_what_is_not_measured_yet_says_from_when_on_it_can_be(evidence):
    found = gates(evidence, "measured")
    assert failing(found) == {"window", "panels"}
    assert found["window"].how == "from 2025-01-30 on"
    assert "window is past" in gates(evidence, "measured", 13.5)["window"].how
    assert not failing(gates(evidence, "measured", 12))


def test_few_sites_panels_visits_and_months(exposure):
    early = exposure.readings["read_on"] < "2022-09-15"
    lone = ~exposure.readings["panel"].str.contains("TOWN|DESERT-A8-3")
    evidence = Evidence(fit(replace(exposure, readings=exposure.readings[early & lone])))
    found = gates(evidence, "projected")
    assert failing(found) == {
        "sites", "panels", "months", "visits", "unwashed", "formula", "findings", "coverage",
    }  # fmt: skip
    assert found["sites"].seen == "2 sites (COAST, DESERT)"
    assert found["panels"].seen == "at the last visit: COAST 3, DESERT 2"
    assert found["visits"].how == "after 1 more visit"
    assert found["months"].how == "from 2023-03-02 on"
    assert found["findings"].how == "run the checks on the source"


def test_calibration_is_recorded_and_not_overdue(evidence, exposure):
    late = exposure.instruments.assign(calibration_due="2023-06-30")
    found = gates(with_facts(evidence, instruments=late))["calibration"]
    assert (found.met, found.seen) == (False, "overdue when read: SR-1")
    found = gates(with_facts(evidence, instruments=late[:0]))["calibration"]
    assert found.seen == "no calibration recorded of SR-1"
    assert "calibration_due" in found.how
    nameless = exposure.readings.assign(instrument=pd.Series(np.nan, dtype="str"))
    found = gates(with_facts(evidence, readings=nameless))["calibration"]
    assert found.how == "name the instrument of each reading"


def test_one_weighting_and_a_stated_one(evidence, exposure):
    readings = exposure.readings
    other = readings.assign(weighting=readings["weighting"].mask(
        readings["panel"].str.startswith("TOWN"), "E891"))  # fmt: skip
    assert failing(gates(with_facts(evidence, readings=other))) == {"conditions"}
    none = readings.assign(weighting=pd.Series(np.nan, dtype="str"))
    found = gates(with_facts(evidence, readings=none))["conditions"]
    assert (found.seen, found.how) == ("not recorded", "record weighting with the readings")


def test_a_formula_changed_after_exposure_began(evidence):
    changed = pd.concat([
        evidence.changes,
        evidence.changes.assign(extra='{"silica_wt_pct": 6.0}', recorded_at="2023-05-04T10:00:00"),
    ], ignore_index=True)  # fmt: skip
    found = gates(replace(evidence, changes=changed))["formula"]
    assert (found.met, found.seen) == (False, "1 change, the last recorded on 2023-05-04")
    before = changed.assign(recorded_at="2022-02-01T10:00:00")
    assert gates(replace(evidence, changes=before))["formula"].met
    again = pd.concat([evidence.changes] * 2, ignore_index=True).assign(recorded_at="2023-05-04")
    assert gates(replace(evidence, changes=again))["formula"].met


@pytest.mark.parametrize(("rule", "severity", "closed"), [
    ("twice", "block", {"findings"}), ("like-washed", "confirm", {"unwashed"}),
    ("recoated", "block", {"unwashed", "findings"}), ("spots", "warn", set()),
])  # fmt: skip
def test_open_findings_on_its_own_panels(evidence, rule, severity, closed):
    row = {"finding": "ab12cd34", "rule": rule, "severity": severity, "panel": "TOWN-A8-1"}
    assert failing(gates(replace(evidence, findings=pd.DataFrame([row])))) == closed
    other = pd.DataFrame([row | {"panel": "TOWN-A0-1"}])
    assert not failing(gates(replace(evidence, findings=other)))


def test_batches_are_recorded_and_alike(evidence, exposure):
    assert LIMITS["batches"] == ALPHA
    found = gates(evidence)["batches"]
    assert (found.met, found.seen) == (True, "A8; one batch: nothing to compare")
    panels = exposure.panels
    none = panels.assign(paint_batch=pd.Series(np.nan, dtype="str"))
    found = gates(with_facts(evidence, panels=none))["batches"]
    assert (found.met, found.seen) == (False, "not recorded")
    two = panels.assign(paint_batch="L" + (panels["replicate"] % 2).astype(int).astype(str))
    found = gates(with_facts(evidence, panels=two))["batches"]
    assert found.seen.startswith("L0, L1: p of ")
    assert found.met
    tangled = panels.assign(paint_batch=panels["site"])
    found = gates(with_facts(evidence, panels=tangled))["batches"]
    assert (found.met, "side by side" in found.how) == (False, True)


def test_coverage_of_the_nearest_cut_counts(evidence):
    known = evidence.coverage.assign(coverage_upper=[0.99, 0.84])
    found = gates(replace(evidence, coverage=known))["coverage"]
    assert (found.met, found.seen[:24]) == (False, "88 % of 12 series held f")
    assert failing(gates(replace(evidence, coverage=known[:0]))) == {"coverage"}


def test_three_panels_cannot_support_95_95(evidence):
    found = gates(evidence, share=0.95)["tolerance"]
    assert not found.met
    assert "7.66 spreads" in found.seen
    assert "10 panels a site" in found.needed
    assert "3 panels cannot support" in found.how
    assert "tolerance" not in gates(evidence)


def test_other_bases(evidence):
    assert not failing(gates(evidence, "default formula"))
    assert failing(gates(evidence, "laboratory-aged")) == {"laboratory"}
    assert failing(gates(evidence, "rated")) == {"identifier"}
    assert not failing(gates(evidence, "rated", rating="Board R-1234, 2026-05-01"))
    with pytest.raises(CallError, match="basis"):
        gates(evidence, "certified")
