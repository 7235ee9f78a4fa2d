"""The shipped sample is what the package writes, and holds what its ABOUT.txt says."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from aging.checks import check
from aging.claims import assess, evidence_of
from aging.fieldwork.plan import visit_plan
from aging.intake import read
from aging.simulation.appearance import SIMULATED
from aging.simulation.campaign import simulate
from aging.simulation.faulty import FAULTS, PLAIN, SEED
from aging.simulation.write import write_folder

SHIPPED = Path(__file__).parents[2] / "sample_exposure"


def files(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def readings():
    panels = pd.read_csv(SHIPPED / "panels.csv").set_index("panel")
    return pd.read_csv(SHIPPED / "readings.csv").join(panels, on="panel")


def test_the_command_writes_the_shipped_files_byte_for_byte(tmp_path):
    command = [sys.executable, "-m", "aging.simulation", str(tmp_path / "again")]
    subprocess.run(command, check=True, cwd=tmp_path)
    again, shipped = files(tmp_path / "again"), files(SHIPPED)
    assert list(again) == list(shipped)
    assert [name for name in shipped if again[name] != shipped[name]] == []


def test_a_wrong_call_says_how_and_writes_nothing(tmp_path):
    command = [sys.executable, "-m", "aging.simulation", "--help"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, check=False)
    assert done.returncode == 1
    assert done.stderr.startswith("usage:")
    assert list(tmp_path.iterdir()) == []


def test_two_trials_three_climates_a_grid_and_file_specimens(readings):
    running = readings[readings["rack"].eq("2025") | readings["exposed_on"].gt("2025")]
    assert running["formulation"].nunique() == 12
    groups = running.groupby(["kind", "site", "formulation"])["panel"].nunique()
    assert set(groups["exposed"]) == {3}
    assert set(groups["file_specimen"]) == {1}
    assert running["exposed_on"].between("2025-02-01", "2025-03-31").all()
    assert "2026-10-01" <= running["read_on"].max() <= "2026-10-31"
    closed = readings[readings["exposed_on"] < "2025"]
    assert closed["formulation"].nunique() == 4
    assert closed["closed_on"].notna().all()
    assert closed["read_on"].max() < "2024-05"
    assert set(readings["site"]) == {"AMARO", "DRYWELL", "KESTREL"}


def test_it_stays_small_and_says_that_it_is_invented():
    assert (SHIPPED / "readings.csv").stat().st_size < 2_500_000
    for about in (SHIPPED / "ABOUT.txt", SHIPPED / "faulty/ABOUT.txt"):
        assert "nvented" in about.read_text(encoding="utf-8")


def test_every_reading_day_has_weather(readings):
    for site, days in readings.groupby("site")["read_on"]:
        weather = pd.read_csv(SHIPPED / f"weather/{site}.csv")
        assert set(days) <= set(weather["date"])
        assert not weather["date"].duplicated().any()


def test_the_lost_panel_has_no_later_reading(readings):
    events = pd.read_csv(SHIPPED / "events.csv")
    lost = events[events["kind"] == "loss"]
    assert len(lost) == 1
    panel, day = lost["panel"].item(), lost["on"].item()
    mine = readings[readings["panel"] == panel]
    assert (mine["closed_on"] == day).all()
    assert mine["read_on"].max() <= day


def test_readings_scatter_about_the_kept_truth(readings):
    truth = pd.read_csv(SHIPPED / "truth/truth.csv")
    truth = truth[(truth["property"] == "solar_reflectance") & (truth["months"] == 0)]
    first = readings[
        (readings["property"] == "solar_reflectance")
        & (readings["kind"] == "exposed")
        & (readings["read_on"] == readings["exposed_on"])
    ]
    mean = first.groupby(["site", "formulation"])["value"].mean().rename("mean").reset_index()
    both = truth.merge(mean, on=["site", "formulation"])
    assert len(both) == 48
    assert (both["mean"] - both["state_of_panels"]).abs().max() < 0.01
    assert abs((both["mean"] - both["state_of_panels"]).mean()) < 0.001


def test_tiles_drift_as_the_file_specimens_do(readings):
    checks = pd.read_csv(SHIPPED / "instrument_checks.csv")
    stages = checks.groupby(["instrument", checks["at"].str[:10]])["stage"].agg(list)
    assert (stages.map(tuple) == ("before", "during", "after")).all()
    off = checks["value"] - checks["certified"]
    tiles = off.groupby([checks["instrument"], checks["at"].str[:10].rename("read_on")]).mean()
    filed = readings[readings["kind"] == "file_specimen"].query("property == 'solar_reflectance'")
    start = filed.sort_values("read_on").groupby("panel")["value"].transform("first")
    seen = (filed["value"] - start).groupby([filed["instrument"], filed["read_on"]]).mean()
    both = pd.concat([tiles, seen], axis=1, keys=["tile", "specimen"]).dropna()
    assert len(both) > 75
    assert both["tile"].abs().max() > 0.004
    assert both.corr().loc["tile", "specimen"] > 0.7


def test_a_visit_is_due_when_the_last_reading_is_in(readings):
    plan = visit_plan(read(SHIPPED).exposure, readings["read_on"].max())
    assert plan["state"].isin(["due", "overdue"]).any()
    assert (plan["state"] == "done").mean() > 0.7


def test_no_instrument_stands_in_the_way_of_a_claim():
    known = evidence_of(SHIPPED, back_test=False)
    for formulation in ("PS0H0", "PS8H30"):
        failing = {
            gate.gate
            for basis in ("measured", "substantiated")
            for gate in assess(known, formulation, basis)
            if not gate.met
        }
        assert failing == {"formula", "coverage"}  # a folder keeps no history; not asked for here
    doubts = check(read(SHIPPED).exposure).open
    assert "block" not in set(doubts["severity"])


def test_each_listed_fault_stands_on_its_line_and_nowhere_else(tmp_path):
    write_folder(simulate(PLAIN, SEED).exposure, tmp_path)
    clean = (tmp_path / "readings.csv").read_text(encoding="utf-8").splitlines()
    wrong = (SHIPPED / "faulty/readings.csv").read_text(encoding="utf-8").splitlines()
    changed = {
        number
        for number, line in enumerate(wrong, start=1)
        if number > len(clean) or line != clean[number - 1]
    }
    about = (SHIPPED / "faulty/ABOUT.txt").read_text(encoding="utf-8")
    listed = {int(number): what for number, what in re.findall(r"line +(\d+)  (.+)", about)}
    assert changed == set(listed)
    assert len(listed) == len(FAULTS) + 2
    assert 60 <= len(clean) <= 80


def test_the_sample_is_read_without_a_finding():
    result = read(SHIPPED)
    assert result.findings == ()
    assert all(tally.refused == 0 for tally in result.tallies)


def test_reading_what_was_written_gives_the_campaign_back(tmp_path):
    exposure = simulate(replace(PLAIN, properties=tuple(SIMULATED), weather=True), 3).exposure
    write_folder(exposure, tmp_path)
    again = read(tmp_path).exposure
    for name, frame in exposure.frames():
        pd.testing.assert_frame_equal(frame, getattr(again, name), obj=name)


def test_the_checks_refuse_exactly_the_listed_lines():
    about = (SHIPPED / "faulty/ABOUT.txt").read_text(encoding="utf-8")
    findings = read(SHIPPED / "faulty").findings
    assert [finding.row for finding in findings] == [
        int(n) for n in re.findall(r"line +(\d+)  ", about)
    ]
    assert {finding.severity for finding in findings} == {"block"}
