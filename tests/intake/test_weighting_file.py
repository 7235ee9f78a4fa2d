"""A solar spectrum of the user's own weights as the tabulated ones do."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aging.cli import app
from aging.errors import SourceError
from aging.intake.weighting_file import read_weighting
from aging.optics.solar import solar_reflectance, weighting_named


@pytest.fixture
def own(tmp_path):
    sun = weighting_named("G173 direct")
    path = tmp_path / "noon.csv"
    pd.DataFrame(
        {
            "wavelength_nm": sun.wavelength_nm,
            "irradiance": 3 * sun.irradiance,
            "source": "a tower",
        }
    ).to_csv(path, index=False)
    return path


def test_the_same_spectrum_in_another_unit_gives_the_same_reflectance(own):
    found = read_weighting(own)
    at = np.linspace(300, 2500, 441)
    R = 0.8 - 0.1 * np.sin(at / 300)
    direct = solar_reflectance(at, R, "G173 direct").value
    assert solar_reflectance(at, R, found).value == pytest.approx(direct, abs=1e-9)
    assert (found.name, found.source) == ("noon", "a tower")


def test_the_command_weights_with_it(own, tmp_path, capsys):
    spectrum = tmp_path / "white.csv"
    spectrum.write_text("wavelength_nm,white\n" + "".join(f"{nm},0.8\n" for nm in
                                                          range(300, 2501, 10)))  # fmt: skip
    assert app(["spectrum", str(spectrum), "--weighting", str(own)]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "noon: a tower" in text
    assert "0.800" in text


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("wavelength_nm,power\n300,1\n", "lacks irradiance"),
        ("wavelength_nm,irradiance\n300,1\n2500,much\n", "row 3"),
        ("wavelength_nm,irradiance\n400,1\n2500,1\n", "300 to 2500"),
        ("wavelength_nm,irradiance\n2500,1\n300,1\n", "ascending"),
        ("wavelength_nm,irradiance\n300,-1\n2500,1\n", "0 or more"),
    ],
)
def test_what_is_no_spectrum_is_refused(tmp_path, text, told):
    path = tmp_path / "own.csv"
    path.write_text(text)
    with pytest.raises(SourceError, match=told):
        read_weighting(path)


def test_a_standards_name_stays_the_standards(own):
    with pytest.raises(SourceError, match="rename the file"):
        read_weighting(own.rename(own.with_name("G173 direct.csv")))
    with pytest.raises(SourceError, match="cannot be read"):
        read_weighting(own.with_name("none.csv"))
