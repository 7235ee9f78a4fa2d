"""A laboratory's own table on the command line: proposed, confirmed by a file, remembered."""

from __future__ import annotations

import pandas as pd
import pytest

from aging.cli import app
from aging.source import open_source

PANELS = "panel,formulation,site,exposed_on\nA1,F1,S1,2024-01-10\nA2,F2,S1,2024-01-10\n"
READINGS = "panel,read_on,property,value\nA1,2024-01-10,solar_reflectance,0.86\n"
LAB = "Specimen;Date;SR;Remarks\nA1;13.03.2024;81,2;dull\nA2;13.03.2024;79,5;\n"


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "panels.csv").write_text(PANELS)
    (tmp_path / "own" / "readings.csv").write_text(READINGS)
    (tmp_path / "lab.csv").write_text(LAB)
    assert app(["load", "own", "--store", "s.sqlite"]) == 0
    return tmp_path


def test_a_table_is_proposed_matched_loaded_and_known_the_next_time(place, capsys):
    load = ["load", "lab.csv", "--store", "s.sqlite"]
    assert app(load) == 2
    assert "--propose FILE.csv" in capsys.readouterr().err
    assert app([*load, "--propose", "columns.csv"]) == 0
    told = pd.read_csv("columns.csv", keep_default_na=False).set_index("header")
    assert told["meaning"].to_dict() == {
        "Specimen": "panel", "Date": "read_on", "SR": "solar_reflectance", "Remarks": "remark",
    }  # fmt: skip
    told.loc["SR", "unit"] = "%"  # the header does not say so
    told.reset_index().to_csv("columns.csv", index=False)
    assert app([*load, "--columns", "columns.csv"]) == 0
    assert app(load) == 0  # without the file: the store remembers
    read = open_source(place / "s.sqlite").readings
    assert sorted(read["value"]) == pytest.approx([0.795, 0.812, 0.86])


def test_a_matching_file_that_says_what_cannot_be_is_refused(place, capsys):
    (place / "columns.csv").write_text(
        "layout,sheet,header,meaning\nx,readings,Specimen,panel\nx,readings,Date,hue\n"
    )
    assert app(["load", "lab.csv", "--store", "s.sqlite", "--columns", "columns.csv"]) == 2
    assert "hue" in capsys.readouterr().err
