from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace

import pandas as pd
import pytest

from aging.errors import CallError
from aging.fieldwork import html, round_sheet
from aging.fieldwork.round_sheet import CAUTIONS
from aging.records import empty_frame


def facts(page: str) -> dict:
    return json.loads(re.search(r'id="facts">(.*?)</script>', page, re.DOTALL)[1])


def test_panels_stand_as_they_hang_and_those_that_left_do_not(sheet):
    assert [one.panel for one in sheet.panels] == ["F1", "P1", "P2", "P5", "P10", "P3"]
    assert [one.months for one in sheet.panels][:2] == [None, 7.06]


def test_each_panel_brings_its_last_reading_and_its_first(sheet):
    by_panel = {one.panel: one.earlier for one in sheet.panels}
    last = by_panel["P1"]["solar_reflectance"]
    assert (last.value, last.on, last.initial, last.rain_mm) == (0.71, "2025-09-10", 0.85, None)
    assert by_panel["P1"]["chalking_astm"].value == 9
    assert (last.gap, last.washed) == (0.85, False)


def test_an_excluded_reading_is_not_the_last_one(exposure):
    out = exposure.readings.loc[exposure.readings["read_on"] == "2025-09-10", "reading_id"]
    row = {"finding": "f", "reading_id": out.iloc[0], "decision": "excluded", "reason": "wet"}
    settled = empty_frame("settlements").reindex([0]).assign(**row).astype("str")
    sheet = round_sheet(replace(exposure, settlements=settled), "HILL", "2025-10-06")
    assert sheet.panels[1].earlier["solar_reflectance"].value == 0.75


def test_what_is_read_is_what_was_read_of_that_kind(sheet, exposure):
    assert [one.name for one in sheet.properties] == ["solar_reflectance", "chalking_astm"]
    assert sheet.panels[0].properties == ("solar_reflectance",)
    assert sheet.panels[1].properties == ("solar_reflectance", "chalking_astm")
    chalk = sheet.properties[1]
    assert (chalk.steps, chalk.methods, chalk.method) == (
        tuple(range(11)), ("A", "B", "C", "D"), "D",
    )  # fmt: skip
    asked = round_sheet(exposure, "HILL", "2025-10-06", properties=["gloss_60"])
    assert asked.panels[0].properties == ("gloss_60",)
    assert asked.properties[0].spots == 3


def test_instruments_and_people_are_known(sheet):
    (rig,) = sheet.rigs
    assert rig.options == ({"instrument": "SR-1", "weighting": "G173 global tilt"},)
    assert sheet.operators == ("anna",)


def test_an_instrument_that_only_reads_other_things_is_not_offered(exposure):
    log = empty_frame("instruments").reindex(range(2)).assign(instrument=["SR-2", "GL-1"])
    row = exposure.readings.iloc[[0]].assign(property="gloss_60", instrument="GL-1", value=60.0)
    readings = pd.concat([exposure.readings, row.assign(reading_id="gloss")], ignore_index=True)
    known = replace(exposure, readings=readings, instruments=log.astype({"instrument": "str"}))
    sheet = round_sheet(known, "HILL", "2025-10-06", properties=["solar_reflectance", "gloss_60"])
    offered = {rig.properties: [one["instrument"] for one in rig.options] for rig in sheet.rigs}
    assert offered == {("solar_reflectance",): ["SR-1", "SR-2"], ("gloss_60",): ["GL-1", "SR-2"]}


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"site": "VALE"}, "site: 'VALE'"), ({"on": "6.10.2025"}, "on: '6.10.2025'"),
        ({"on": "2025-02-30"}, "on: '2025-02-30'"), ({"on": "2020-01-01"}, "a panel hangs"),
        ({"properties": ["sparkle"]}, "sparkle"),
    ],
)  # fmt: skip
def test_a_wrong_call_is_told(exposure, given, told):
    call = {"site": "HILL", "on": "2025-10-06", **given}
    if told == "a panel hangs":
        no_file = exposure.panels[exposure.panels["kind"] == "exposed"]
        exposure = replace(exposure, panels=no_file)
    with pytest.raises(CallError, match=re.escape(told)):
        round_sheet(exposure, call.pop("site"), call.pop("on"), **call)


def test_the_page_asks_for_nothing_and_runs_only_its_own_script(sheet):
    page = html(sheet)
    policy = re.search(r'Content-Security-Policy" content="(.*?)"', page)[1]
    assert policy.startswith("default-src 'none'")
    script = re.search(r"<script>(.*?)</script>", page, re.DOTALL)[1]
    made = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{made}'" in policy
    assert not re.search(r"https?://|\bsrc=|url\(", page)
    assert '<html lang="en">' in page
    assert all(caution in page for caution in CAUTIONS)


def test_names_from_people_cannot_leave_their_place(sheet):
    evil = "</script><img src=x onerror=alert(1)>"
    page = html(replace(sheet, site_name=evil, operators=(evil,)))
    assert "<img" not in page
    assert facts(page)["operators"] == [evil]


def test_the_same_rack_keeps_its_id_when_the_sheet_is_made_anew(exposure, sheet):
    again = round_sheet(exposure, "HILL", "2025-10-06", operator="bert", properties=["gloss_60"])
    assert again.sheet_id == sheet.sheet_id
    assert round_sheet(exposure, "HILL", "2025-10-07").sheet_id != sheet.sheet_id
