"""What `aging spectrum` answers: the number under its weighting, the limits, every finding."""

from __future__ import annotations

import json

import numpy as np
import pytest

from aging.cli import app

AT = np.arange(300, 2501, 10)


@pytest.fixture
def spectra(tmp_path):
    path = tmp_path / "spectra.csv"
    rows = [f"{at},0.8,{int(at >= 700)},40" for at in AT]
    path.write_text("\n".join(["nm,white,step,in hundredths", *rows]), encoding="utf-8")
    return path


def test_a_table_with_weighting_limits_and_findings(spectra, capsys):
    assert app(["spectrum", str(spectra)]) == 1
    text = capsys.readouterr().out
    for told in (
        "G173 global tilt: ASTM G173-03", "700-2500 nm", "52.05 %", "percent-for-fraction",
        "40 at 300 nm",
    ):  # fmt: skip
        assert told in text
    line = next(line for line in text.splitlines() if line.startswith("white"))
    assert line.split()[1:] == ["0.8000"] * 6


def test_json_names_the_weighting_with_every_value(spectra, capsys):
    assert app(["spectrum", str(spectra), "--weighting", "G173 direct", "--json", "-"]) == 1
    facts = json.loads(capsys.readouterr().out)
    assert [row["sample"] for row in facts["rows"]] == ["white", "step"]
    assert {row["weighting"] for row in facts["rows"]} == {"G173 direct"}
    assert facts["rows"][1]["near_infrared_reflectance"] == pytest.approx(1)
    assert facts["rows"][1]["solar_reflectance"] == pytest.approx(0.546, abs=0.01)
    assert sum(band["share"] for band in facts["bands"]) == pytest.approx(1)


def test_where_no_sample_is_sound_the_findings_alone(tmp_path, capsys):
    path = tmp_path / "short.csv"
    path.write_text("nm,A\n400,0.8\n700,0.8\n", encoding="utf-8")
    assert app(["spectrum", str(path)]) == 1
    assert "400 to 700 nm  [coverage]" in capsys.readouterr().out


def test_a_wrong_weighting_lists_the_right_ones(spectra, capsys):
    assert app(["spectrum", str(spectra), "--weighting", "noon"]) == 2
    assert "G173 global tilt, G173 direct" in capsys.readouterr().err
