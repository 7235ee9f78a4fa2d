"""aging weather: a row an interval, what it rests on, a year's file instead; aging heat --file."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pvlib
import pytest

from aging.cli import app

YEAR = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
GREENSBORO_MJ = 5638.33  # sum of the file's GHI column, times 0.0036


def run(capsys, *words):
    code = app([str(word) for word in words])
    told = capsys.readouterr()
    return code, told.out, told.err


@pytest.fixture
def racks(folder):
    """Even sun from the first day of exposure on, a shower every tenth day, dust half the time."""
    days = pd.date_range("2024-04-02", "2025-06-30")
    sheet = pd.DataFrame({"date": days.strftime("%Y-%m-%d"), "solar_MJ_m2": 18.0, "uv_MJ_m2": 0.8})
    sheet["rain_mm"] = [12.0 if day % 10 == 0 else 0.0 for day in range(len(days))]
    sheet["pm10_ug_m3"] = [40.0 if day < 100 else None for day in range(len(days))]
    (folder / "weather").mkdir()
    sheet.to_csv(folder / "weather" / "yard.csv", index=False)
    return folder


def rows(capsys, *words):
    code, out, err = run(capsys, "weather", *words, "--json", "-")
    assert (code, err) == (0, "")
    return json.loads(out)


def test_from_the_first_day_to_the_last_visit(racks, capsys):
    found = rows(capsys, racks)
    (row,) = found["rows"]
    assert (row["site"], row["start"], row["end"]) == ("yard", "2024-04-02", "2025-06-02")
    assert row["solar_MJ_m2"] == pytest.approx(426 * 18)
    assert row["uv_MJ_m2"] == pytest.approx(426 * 0.8)
    assert row["rain_mm"] == pytest.approx(43 * 12)
    assert (row["wet_days"], row["dry_days"], row["longest_dry_spell"]) == (43, 383, 9)
    assert (row["pm10_ug_m3"], row["pm10_days"]) == (40, 100)
    assert found["sources"] == {"yard": "radiant exposure measured on the horizontal"}
    assert found["notes"] == []


def test_a_row_for_each_interval_between_visits(racks, capsys):
    found = rows(capsys, racks, "--between-visits")["rows"]
    assert [row["end"] for row in found] == [
        "2024-06-03", "2024-09-02", "2024-12-02", "2025-03-03", "2025-06-02",
    ]  # fmt: skip
    assert [row["days"] for row in found] == [62, 91, 91, 91, 91]
    later = rows(capsys, racks, "--between-visits", "--from", "2024-09-01")["rows"]
    assert [row["start"] for row in later] == ["2024-09-02", "2024-12-02", "2025-03-03"]


def test_the_table_marks_what_was_not_measured(racks, capsys):
    code, out, _ = run(capsys, "weather", racks, "--from", "2025-06-01", "--to", "2025-07-31")
    assert code == 0
    line = next(line.split() for line in out.splitlines() if line.startswith("2025-06-01"))
    assert line == ["2025-06-01", "2025-07-31", "1080*", "48.0*", "4.4", "36*", "3", "27", "9", "-"]
    assert "Note: yard: sun was not measured on 30 of 60 days and is computed there" in out
    assert "295 to 385 nm" in out


def test_a_share_of_ultraviolet_that_cannot_be(racks, capsys):
    sheet = racks / "weather" / "yard.csv"
    sheet.write_text(sheet.read_text().replace(",0.8,", ",2.0,"))
    assert "outside 0.03 to 0.06: check its unit" in run(capsys, "weather", racks)[1]


def test_a_years_file_instead_of_the_sites_own_weather(racks, capsys):
    words = ("--file", YEAR, "--from", "2024-05-01", "--to", "2025-05-01")
    found = rows(capsys, racks, *words)
    (row,) = found["rows"]
    assert row["solar_MJ_m2"] == pytest.approx(GREENSBORO_MJ, rel=0.001)
    assert row["solar_measured_days"] == 0
    assert row["rain_mm"] is None
    assert "typical year" in found["sources"]["yard"]
    assert "no measured year" in found["sources"]["yard"]
    assert [one["code"] for one in found["findings"]] == ["doubtful-rain"]
    alone = rows(capsys, *words, "--tilt", "30")["rows"][0]
    north = rows(capsys, *words, "--tilt", "30", "--azimuth", "0")["rows"][0]
    assert north["solar_MJ_m2"] < row["solar_MJ_m2"] < alone["solar_MJ_m2"]


def test_a_site_without_visits_is_told(racks, capsys):
    (racks / "sites.csv").write_text("site,latitude_deg,longitude_deg\nyard,33,-112\nfar,40,0\n")
    found = rows(capsys, racks)
    assert [row["site"] for row in found["rows"]] == ["yard"]
    assert "far: no two dates to sum between" in found["notes"]
    late = rows(capsys, racks, "--from", "2026-01-01", "--site", "yard")
    assert (late["rows"], late["notes"]) == ([], ["yard: no two dates to sum between"])
    assert "no two dates" in run(capsys, "weather", racks, "--from", "2026-01-01")[1]
    named = rows(capsys, racks, "--site", "far", "--from", "2024-06-01", "--to", "2024-07-01")
    assert named["rows"][0]["solar_MJ_m2"] > 25 * 30
    assert "of a clear sky, computed and not measured; rack at 0 deg" in named["sources"]["far"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((), "name a SOURCE, or a weather file with --file"),
        (("--file", YEAR), "name the dates with --from and --to"),
        (("--file", "none.epw", "--from", "2024-01-01"), "none.epw: cannot be read"),
        (("RACKS", "--from", "03/04/2024"), "--from: '03/04/2024' is not allowed"),
        (("RACKS", "--from", "2024-05-01", "--to", "2024-05-01"), "a date after 2024-05-01"),
        (("RACKS", "--site", "moon"), "allowed: yard"),
        (("RACKS", "--tilt", "45"), "yard has no latitude and longitude"),
    ],
)
def test_a_wrong_call_ends_in_one_line(racks, capsys, words, message):
    code, _, err = run(capsys, "weather", *(racks if word == "RACKS" else word for word in words))
    assert code == 2
    assert message in err
    assert len(err.splitlines()) == 1


def test_what_ageing_costs_under_the_sun_of_a_file(capsys):
    asked = ("heat", "--reflectance", "0.65", "--initial", "0.85", "--file", YEAR)
    code, out, _ = run(capsys, *asked, "--json", "-")
    found = json.loads(out)["ageing"]
    assert code == 0
    assert found["extra"] == pytest.approx(0.2 * GREENSBORO_MJ, rel=0.001)
    assert "no measured year" in found["year"]["source"]
    steep = json.loads(run(capsys, *asked, "--tilt", "30", "--json", "-")[1])["ageing"]
    assert steep["extra"] > found["extra"]
