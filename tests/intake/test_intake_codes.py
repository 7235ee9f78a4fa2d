"""Each finding code: where it points, how severe it is, and that no other row suffers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import pytest

from aging import intake

HEAD = "panel,read_on,property,value,unit,surface_state"
GOOD = "A1,2024-03-01,solar_reflectance,0.812,,as_exposed"
PANEL_HEAD = "panel,formulation,site,exposed_on,closed_on"
SOON = date.today() + timedelta(days=30)  # noqa: DTZ011


SUN = " ".join(map(str, range(300, 2501, 20)))

SUNNY = "date,solar_MJ_m2,uv_MJ_m2\n" + "".join(  # April is too short to be judged
    f"2024-0{month}-{day:02},10,{uv}\n"
    for month, uv, days in ((2, 0.45, 19), (3, 1.0, 20), (4, 1.0, 14))
    for day in range(1, days + 1)
)


@dataclass(frozen=True)
class Case:
    code: str
    severity: str
    row: int | None
    column: str | None
    seen: str
    sheets: dict[str, str | bytes]
    file: str = "readings.csv"
    refused: int = 1


def reading(line: str, head: str = HEAD) -> dict[str, str | bytes]:
    return {"readings": f"{head}\n{GOOD}{',' * (head.count(',') - HEAD.count(','))}\n{line}\n"}


def cell(code, column, seen, line, *, severity="block", row=3, head=HEAD):
    return Case(
        code, severity, row, column, seen, reading(line, head), refused=int(severity == "block")
    )


def panels(code, column, seen, line, *, severity="block", row=4):
    sheets = {"panels": f"{PANEL_HEAD}\nA1,F1,S1,2024-01-10,\nA2,F1,S1,2024-01-10,\n{line}\n"}
    return Case(code, severity, row, column, seen, sheets, "panels.csv", int(severity == "block"))


def spectrum(code, column, seen, wavelengths, severity="block", *, value="0.8", panel="A1",
             on="2024-03-01", reflectances=None):  # fmt: skip
    values = " ".join([value] * (reflectances or len(wavelengths.split())))
    good = f"A2,2024-03-01,{SUN},{' '.join(['0.8'] * 111)}"
    rows = [
        "panel,read_on,wavelengths_nm,reflectances",
        good,
        f"{panel},{on},{wavelengths},{values}",
    ]
    sheets = {"spectra": "\n".join(rows)}
    return Case(code, severity, 3, column, seen, sheets, "spectra.csv", int(severity == "block"))


CASES = [
    Case("empty-file", "block", None, None, "", {"events": ""}, "events.csv", 0),
    Case("empty-file", "block", None, None, "", {"events": "\n , \n"}, "events.csv", 0),
    Case("no-rows", "warn", None, None, "", {"events": "on,kind\n"}, "events.csv", 0),
    Case("unreadable-file", "block", None, None, "byte 0x81 at 1",
         {"events": b"\xff\x81\x8d"}, "events.csv", 0),
    Case("unclosed-quote", "block", 3, None, "0.8,,",
         {"readings": f'{HEAD}\n{GOOD}\nA2,2024-03-01,solar_reflectance,"0.8,,\n{GOOD}\n'},
         refused=3),
    Case("missing-column", "block", None, "value", "panel, read_on, property",
         {"readings": "panel,read_on,property\nA1,2024-03-01,gloss_60\n"}),
    Case("duplicate-column", "block", 1, None, "value",
         {"readings": f"{HEAD},Value\n{GOOD},0.8\n"}),
    cell("extra-cells", None, "812,", "A2,2024-03-01,gloss_60,0,,,812,"),
    cell("extra-cells", None, "x", "A2,2024-03-01,solar_reflectance,0.8,,washed,x"),
    cell("missing-value", "value", "", "A2,2024-03-01,solar_reflectance,,,"),
    cell("missing-value", "panel", " ", " ,2024-03-01,solar_reflectance,0.8,,"),
    cell("missing-value", "read_on", "n/a", "A1,n/a,solar_reflectance,0.8,,"),
    cell("missing-value", "reason", "", "A1,2024-03-01,solar_reflectance,0.8,,,r9,r1,",
         head=f"{HEAD},reading_id,supersedes,reason"),
    cell("missing-value", "reading_id", "", "A1,2024-03-01,solar_reflectance,0.8,,,,r1,typo",
         head=f"{HEAD},reading_id,supersedes,reason"),
    panels("bad-text", "panel", "A\\x003", "A\0003,F1,S1,2024-01-10,"),
    panels("bad-text", "formulation", "F\\u202e1", "A3,F\u202e1,S1,2024-01-10,"),
    panels("bad-text", "site", "S" * 77 + "...", f"A3,F1,{'S' * 201},2024-01-10,"),
    cell("bad-text", "remark", "wet\\x07", "A1,2024-03-02,gloss_60,8,,,wet\a",
         head=f"{HEAD},remark"),
    cell("not-allowed", "surface_state", "cleaned", "A1,2024-03-02,gloss_60,8,,cleaned"),
    cell("not-allowed", "supersedes", "r1", "A1,2024-03-02,gloss_60,8,,,r1,r1,typo",
         head=f"{HEAD},reading_id,supersedes,reason"),
    cell("unknown-property", "property", "albedo", "A1,2024-03-02,albedo,0.8,,"),
    cell("not-a-number", "value", "0,812", 'A2,2024-03-01,solar_reflectance,"0,812",,'),
    cell("not-a-number", "value", "1.234,5", 'A2,2024-03-01,dry_film_um,"1.234,5",,'),
    cell("not-a-number", "value", "1e999", "A2,2024-03-01,dry_film_um,1e999,,"),
    cell("not-a-number", "value", "inf", "A2,2024-03-01,dry_film_um,inf,,"),
    cell("out-of-range", "value", "1.8e297", "A2,2024-03-01,dry_film_um,1.8e297,,"),
    cell("not-a-number", "spots", "few", "A1,2024-03-02,gloss_60,8,,,few", head=f"{HEAD},spots"),
    Case("not-a-number", "warn", 3, "silica_wt_pct", "some",
         {"formulations": "formulation,silica_wt_pct\nF1,8\nF2,some\n"}, "formulations.csv", 0),
    Case("mixed-decimals", "confirm", 3, "value", "1,234",
         {"readings": "panel;read_on;property;value\nA1;2024-03-01;gloss_60;1.5\n"
                      "A1;2024-03-01;gloss_20;1,234\nA1;2024-03-01;gloss_85;1,3\n"}, refused=0),
    cell("out-of-range", "value", "-3", "A1,2024-03-02,gloss_60,-3,,"),
    cell("out-of-range", "value", "1.2", "A1,2024-03-02,solar_reflectance,1.2,,"),
    cell("out-of-range", "value", "101", "A1,2024-03-02,solar_reflectance,101,%,"),
    cell("out-of-range", "spot_sd", "-1", "A1,2024-03-02,gloss_60,8,,,-1", head=f"{HEAD},spot_sd"),
    panels("out-of-range", "exposed_on", "1900-01-01", "A3,F1,S1,1900-01-01,"),
    cell("not-a-date", "read_on", "2024-02-30", "A1,2024-02-30,gloss_60,8,,"),
    cell("not-a-date", "read_on", "20240305", "A1,20240305,gloss_60,8,,"),
    cell("not-a-date", "read_on", "2024/03/05", "A1,2024/03/05,gloss_60,8,,"),
    cell("not-a-date", "read_on", "2024-03-05T25:00", "A1,2024-03-05T25:00,gloss_60,8,,"),
    cell("ambiguous-date", "read_on", "03/04/2024", "A1,03/04/2024,gloss_60,8,,"),
    cell("ambiguous-date", "read_on", "3.4.24", "A1,3.4.24,gloss_60,8,,"),
    cell("future-date", "read_on", str(SOON), f"A1,{SOON},gloss_60,8,,"),
    panels("future-date", "closed_on", str(SOON), f"A3,F1,S1,2024-01-10,{SOON}", severity="warn"),
    cell("bad-unit", "unit", "fracton", "A1,2024-03-02,solar_reflectance,0.8,fracton,"),
    cell("percent-for-fraction", "value", "81.2", "A1,2024-03-02,solar_reflectance,81.2,,"),
    cell("percent-for-fraction", "value", "90", "A1,2024-03-02,thermal_emittance,90,fraction,"),
    cell("unusual", "value", "0.2", "A1,2024-03-02,solar_reflectance,0.2,,", severity="warn"),
    cell("unusual", "value", "95", "A1,2024-03-02,solar_reflectance,95,%,", severity="warn"),
    cell("scale-step", "value", "7.5", "A1,2024-03-02,chalking_astm,7.5,,"),
    cell("scale-step", "value", "2.25", "A1,2024-03-02,chalking_iso,2.25,,"),
    cell("unknown-panel", "panel", "a1", "a1,2024-03-02,gloss_60,8,,"),
    Case("unknown-panel", "block", 2, "panel", "Z9",
         {"events": "on,kind,panel\n2024-03-01,wash,Z9\n"}, "events.csv"),
    Case("unknown-site", "block", 2, "site", "S9",
         {"events": "on,kind,site\n2024-03-01,dust,S9\n"}, "events.csv"),
    Case("unknown-site", "block", None, "site", "S9",
         {"weather__S9": "date,rain_mm\n2024-03-01,2\n2024-03-02,2\n"}, "weather/S9.csv", 2),
    Case("unknown-site", "warn", 2, "site", "S1", {"sites": "site\nS2\n"}, "panels.csv", 0),
    Case("unknown-formulation", "warn", 3, "formulation", "F2",
         {"formulations": "formulation\nF1\n"}, "panels.csv", 0),
    cell("before-exposure", "read_on", "2024-01-09", "A1,2024-01-09,gloss_60,8,,"),
    cell("after-closure", "read_on", "2025-01-01", "A2,2025-01-01,gloss_60,8,,", severity="warn"),
    spectrum("uneven-lists", "reflectances", "110 numbers", SUN, reflectances=110),
    spectrum("duplicate-wavelength", "wavelengths_nm", "340", SUN.replace(" 340 ", " 340 340 ")),
    spectrum("unordered-wavelengths", "wavelengths_nm", "310 after 320",
             SUN.replace(" 340 ", " 310 ")),
    spectrum("coverage", "wavelengths_nm", "300 to 2480 nm", SUN.removesuffix(" 2500")),
    spectrum("gap", "wavelengths_nm", "320 to 360 nm", SUN.replace(" 340 ", " "), "confirm"),
    spectrum("descending-wavelengths", "wavelengths_nm", "2500 to 300 nm",
             " ".join(reversed(SUN.split())), "warn"),
    spectrum("percent-for-fraction", "reflectances", "80 at 300 nm and 110 more", SUN, value="80"),
    spectrum("out-of-range", "reflectances", "1.2 at 300 nm and 110 more", SUN, value="1.2"),
    spectrum("unknown-panel", "panel", "Z9", SUN, panel="Z9"),
    spectrum("before-exposure", "read_on", "2024-01-01", SUN, on="2024-01-01"),
    Case("uv-share", "confirm", 21, "uv_MJ_m2", "0.100 in this month",
         {"weather__S1": SUNNY}, "weather/S1.csv", 0),
    panels("closed-before-exposed", "closed_on", "2023-12-31", "A3,F1,S1,2024-01-10,2023-12-31"),
    panels("duplicate", "panel", "A1", "A1,F1,S1,2024-01-10,"),
    panels("conflicting-duplicate", "panel", "A1", "A1,F2,S1,2024-01-10,"),
    cell("duplicate", "reading_id", "A1/2024-03-01/solar_reflectance/as_exposed", GOOD),
    cell("conflicting-duplicate", "reading_id", "A1/2024-03-01/solar_reflectance/as_exposed",
         GOOD.replace("0.812", "0.813")),
    Case("duplicate", "block", 2, "date", "S1/2024-03-01",
         {"weather__S1": "date\n2024-03-02\n", "weather__x": "date,site\n2024-03-01,S1\n",
          "weather": "date,site\n2024-03-01,S1\n"}, "weather.csv"),
]  # fmt: skip


@pytest.mark.parametrize(
    "case", CASES, ids=lambda case: f"{case.code}-{case.column}-{case.seen}"[:60]
)
def test_a_fault_is_found_where_it_is_and_refuses_only_its_row(case, folder):
    result = intake.read(folder(**case.sheets))
    found = [finding for finding in result.findings if finding.code == case.code]
    where = [(f.severity, f.sheet, f.row, f.column, f.seen) for f in found]
    assert where == [(case.severity, case.file, case.row, case.column, case.seen)]
    assert found[0].allowed
    assert found[0].action
    sheet = case.file.partition("/")[0].removesuffix(".csv")
    (tally,) = [tally for tally in result.tallies if tally.sheet == sheet]
    assert tally.refused == case.refused
    assert tally.rows == tally.accepted + tally.refused
    assert [f for f in result.findings if f.code != case.code] == []


def test_every_code_of_the_table_is_tested_and_no_other_is_used():
    assert {case.code for case in CASES} == set(intake.CODES)
