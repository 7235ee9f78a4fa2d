"""Programme thresholds as data, routes tested separately, and the default aged reflectance."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aging.errors import CallError, SourceError
from aging.optics.criteria import COLUMNS, default_aged, load_criteria, probability_met


def row_of(found, route, **facts):
    for name, value in {"route": route, **facts}.items():
        found = found[found[name] == value]
    assert len(found) == 1
    return found.iloc[0]


def test_every_shipped_row_shows_edition_source_and_whether_it_was_checked():
    table = load_criteria()
    assert list(table) == COLUMNS
    assert (table[["programme", "edition", "source"]] != "").all(axis=None)
    assert set(table["checked"]) == {"seen in published text", "check before use"}
    from_memory = table["source"].str.contains("memory")
    assert from_memory.any()
    assert (table["checked"][from_memory] == "check before use").all()
    assert not table.duplicated([*COLUMNS[:7], "quantity"]).any()


def test_the_two_routes_are_tested_separately():
    found = probability_met(load_criteria(), [0.64], 0.75)
    of = {"programme": "California Title 24 Part 6", "edition": "2022", "slope": "low"}
    assert row_of(found, "reflectance and emittance", **of)["probability"] == 1
    assert row_of(found, "SRI", **of)["probability"] == 0  # 0.63 and 0.75 give 72, 75 is asked


def test_probability_is_the_share_of_draws_that_meet_all_of_a_route():
    reflectance, emittance = np.array([0.60, 0.64, 0.64, 0.70]), np.array([0.9, 0.9, 0.7, 0.9])
    found = probability_met(load_criteria(), reflectance, emittance)
    of = {"programme": "California Title 24 Part 6", "edition": "2022", "slope": "low"}
    row = row_of(found, "reflectance and emittance", **of)
    assert row["probability"] == 0.5
    assert row["thresholds"] == "solar_reflectance 0.63 or more, thermal_emittance 0.75 or more"


def test_a_criterion_of_new_surfaces_does_not_judge_aged_ones():
    table = load_criteria()
    aged, new = (probability_met(table, 0.7, 0.9, state) for state in ("aged", "initial"))
    leed = {"programme": "LEED", "edition": "v4 and v4.1", "slope": "low"}
    assert row_of(aged, "SRI", **leed)["probability"] == 1  # 64 aged, 82 when new
    assert "sri 64" in row_of(aged, "SRI", **leed)["thresholds"]
    assert "sri 82" in row_of(new, "SRI", **leed)["thresholds"]
    assert len(aged) + len(new) == len(table.drop_duplicates(COLUMNS[:7]))


def test_a_users_own_table(tmp_path):
    own = pd.DataFrame([["ours", "2026", "", "low", "", "aged", "SRI", "sri", 90, "us", "checked"]])
    own.columns = COLUMNS
    own.to_csv(tmp_path / "own.csv", index=False)
    found = probability_met(load_criteria(tmp_path / "own.csv"), [0.6, 0.8], 0.9)
    assert found["probability"].tolist() == [0.5]


def test_all_faults_of_a_table_at_once(tmp_path):
    table = load_criteria().astype({"threshold": object}).head(4)
    table.loc[0, "slope"], table.loc[1, "threshold"] = "flat", 75
    table.loc[2, "quantity"], table.loc[3, "edition"] = "sri", ""
    table.to_csv(tmp_path / "own.csv", index=False)
    with pytest.raises(SourceError) as told:
        load_criteria(tmp_path / "own.csv")
    text = str(told.value)
    for fault in ("row 2, slope: 'flat'", "row 3, threshold: '75'", "row 4, quantity: 'sri'",
                  "row 5, edition: ''"):  # fmt: skip
        assert fault in text
    table.drop(columns=["section", "source"]).to_csv(tmp_path / "own.csv", index=False)
    with pytest.raises(SourceError, match="columns missing: section, source"):
        load_criteria(tmp_path / "own.csv")
    with pytest.raises(SourceError, match=r"nowhere\.csv: cannot be read"):
        load_criteria(tmp_path / "nowhere.csv")


def test_what_cannot_be_judged():
    with pytest.raises(CallError, match=r"solar reflectance: 70\.0"):
        probability_met(load_criteria(), [70], 0.9)
    with pytest.raises(CallError, match=r"state: 'new' .*initial, aged"):
        probability_met(load_criteria(), [0.7], 0.9, "new")


def test_default_aged_reflectance_by_product():
    initial = [0.60, 0.70, 0.80, 0.85, 0.88]
    current = {one.product: one for one in default_aged() if one.edition == "2013 and later"}
    coating, other = current["field-applied coating"], current["other"]
    assert coating.reflectance(initial) == pytest.approx([0.46, 0.525, 0.59, 0.6225, 0.642])
    assert other.reflectance(initial) == pytest.approx([0.48, 0.55, 0.62, 0.655, 0.676])
    assert coating.reflectance(0.2) == pytest.approx(0.2)
    assert "not a prediction" in str(coating)
    assert "2013" in str(coating)
    with pytest.raises(CallError, match=r"initial solar reflectance: 85\.0"):
        coating.reflectance(85)


def test_own_defaults(tmp_path):
    table = "programme,edition,section,product,beta,source,checked\nours,2026,,all,{},us,yes\n"
    (tmp_path / "own.csv").write_text(table.format("0.5"))
    assert default_aged(tmp_path / "own.csv")[0].reflectance(0.8) == pytest.approx(0.5)
    (tmp_path / "own.csv").write_text(table.format("65"))
    with pytest.raises(SourceError, match="beta: '65' is not allowed; allowed: 0 to 1"):
        default_aged(tmp_path / "own.csv")
