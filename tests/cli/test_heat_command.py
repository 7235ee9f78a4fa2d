"""aging heat: the figures, what they rest on, the cautions, and calls that cannot be."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from aging.cli import app


def run(capsys, *words):
    code = app(["heat", *words])
    told = capsys.readouterr()
    return code, told.out, told.err


@pytest.fixture
def sunny(folder):
    days = pd.date_range("2023-01-01", periods=365).strftime("%Y-%m-%d")
    (folder / "weather").mkdir()
    sheet = pd.DataFrame({"date": days, "solar_MJ_m2": 18.0})
    sheet.to_csv(folder / "weather" / "yard.csv", index=False)
    return str(folder)


def test_a_surface_alone(capsys):
    code, out, _ = run(capsys, "--reflectance", "0.65", "--emittance", "0.9")
    assert code == 0
    assert "52.6" in out
    assert "78.9" in out
    assert "emittance 0.90, measured" in out
    assert "condensation" in out


def test_aged_against_initial_and_the_regulators_default(capsys):
    _, out, _ = run(capsys, "--reflectance", "0.65", "--initial", "0.85", "--wind", "low")
    rows = {line[:13].strip(): line.split() for line in out.splitlines()}
    assert rows["aged"][-1] == "77.5"
    assert rows["initial"][-1] == "107.8"
    assert float(rows["default aged"][-4]) == pytest.approx(0.6225, abs=6e-4)
    assert "emittance 0.90, assumed" in out
    assert "not a prediction" in out


def test_what_ageing_costs_at_a_site(sunny, capsys):
    code, out, _ = run(capsys, sunny, "--reflectance", "0.65", "--initial", "0.85", "--json", "-")
    found = json.loads(out)
    assert code == 0
    assert found["ageing"]["extra"] == pytest.approx(0.2 * 365 * 18)
    assert found["ageing"]["extra_kWh_m2"] == pytest.approx(365)
    assert found["ageing"]["warmer"] == pytest.approx(10.69, abs=0.01)
    assert "winter" in found["caution"]
    _, out, _ = run(capsys, sunny, "--reflectance", "0.65", "--initial", "0.85")
    assert "1314 MJ/m2 (365 kWh/m2) more" in out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--reflectance", "65"), "solar reflectance: 65.0 is not allowed"),
        (("--reflectance", "0.65", "--initial", "85"), "initial solar reflectance: 85.0"),
        (("--reflectance", "0.65", "--emittance", "0.05"), "above 0.1 to 1"),
        (("--reflectance", "0.65", "--tilt", "5"), "these with a SOURCE or --file"),
        (("--reflectance", "0.65", "--site", "yard"), "with a SOURCE"),
        (("here", "--reflectance", "0.65", "--file", "a.epw"), "SOURCE or --file, not both"),
        (("--reflectance", "0.65", "--file", "a.epw"), "a sun with --initial"),
    ],
)
def test_a_wrong_call_ends_in_one_line(capsys, words, message):
    code, _, err = run(capsys, *words)
    assert code == 2
    assert message in err
    assert len(err.splitlines()) == 1


def test_a_site_that_is_not_there_and_a_tilt_without_coordinates(sunny, capsys):
    asked = (sunny, "--reflectance", "0.65", "--initial", "0.85")
    assert "allowed: yard" in run(capsys, *asked, "--site", "moon")[2]
    assert "no latitude and longitude" in run(capsys, *asked, "--tilt", "5")[2]
    assert "a sun with --initial" in run(capsys, sunny, "--reflectance", "0.65")[2]
