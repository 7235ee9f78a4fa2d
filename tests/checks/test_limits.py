"""Limits are data that a site may change, and every one of them has a source."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from aging.checks import RULES, check, limits_with, own_limits, simple_limits
from aging.errors import CallError, SourceError

ODD = "plain-1@2024-10-09"


def test_every_limit_belongs_to_a_rule_and_says_where_it_is_from():
    table = limits_with().table
    assert set(table["rule"]) <= set(RULES.index)
    assert table[["limit", "unit", "source"]].notna().all(axis=None)
    assert not table.duplicated(["rule", "limit"]).any()


def test_a_site_changes_a_limit_for_itself_alone(rack):
    rack.changed(ODD, value=lambda now: now - 0.045)
    own = pd.DataFrame({"rule": ["apart"], "limit": ["warn"], "value": [0.055], "site": ["YARD"]})
    assert rack.frame["reading_id"].tolist() == [ODD]
    assert check(rack.exposure, limits=own).frame.empty
    assert len(check(rack.exposure, limits=own.assign(site="ELSEWHERE")).frame) == 1
    assert check(rack.exposure, limits=own.drop(columns="site")).frame.empty


def test_a_file_of_limits_is_found_beside_the_sheets(tmp_path):
    assert own_limits(tmp_path) is None
    file = tmp_path / "limits.csv"
    file.write_text("rule,limit,value,site,reason\napart,warn,0.04,YARD,rough texture\n")
    assert own_limits(tmp_path) == own_limits(tmp_path / "exposure.sqlite") == file
    known = limits_with(file)
    assert known.value("apart", "warn", "YARD") == 0.04
    assert known.value("apart", "warn") == 0.025
    assert known.table.iloc[-1]["reason"] == "rough texture"


def test_every_wrong_row_is_named(tmp_path):
    file = tmp_path / "limits.csv"
    file.write_text("rule,limit,value\napart,wran,0.04\nappart,warn,0.04\napart,warn,much\n")
    with pytest.raises(CallError) as error:
        limits_with(file)
    told = str(error.value)
    for text in ("row 2: apart, wran", "row 3: appart, warn", "row 4: apart, warn", "warn_few"):
        assert text in told
    with pytest.raises(SourceError, match="limits"):
        limits_with(tmp_path / "limits of nobody.csv")
    file.write_text("rule,value\n")
    with pytest.raises(CallError, match="no column limit"):
        limits_with(file)


def test_simple_limits_are_plain_and_follow_a_site():
    found = json.loads(json.dumps(simple_limits()))
    assert found["solar_reflectance"]["falls"] == [[3.0, 0.10], [12.0, 0.06], [None, 0.04]]
    assert found["growth"]["step"] == 1
    own = pd.DataFrame({"rule": ["rose"], "limit": ["warn"], "value": [0.05], "site": ["YARD"]})
    assert simple_limits("YARD", own)["solar_reflectance"]["rises"] == 0.05
    assert simple_limits("", own)["solar_reflectance"]["rises"] == 0.03
