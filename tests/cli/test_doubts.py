"""check and settle, from the command line."""

from __future__ import annotations

import csv
import json

import pytest

from aging.cli import app

ODD = "0.5"


@pytest.fixture
def odd(folder):
    """The folder with one panel's reading far below its replicates'."""
    file = folder / "readings.csv"
    with file.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    rows[3]["value"] = ODD
    for row in rows:  # the folder's plateau would be taken for copied
        if row["panel"].startswith("silica") and row["read_on"] == "2025-03-03":
            row["value"] = str(float(row["value"]) - 0.004)
    with file.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    return folder


@pytest.fixture
def store(odd, tmp_path, capsys):
    path = str(tmp_path / "racks.sqlite")
    assert app(["load", str(odd), "--store", path]) == 0
    capsys.readouterr()
    return path


def doubts(source, capsys, *options):
    app(["check", source, "--json", "-", *options])
    return json.loads(capsys.readouterr().out)["doubts"]


def test_a_folder_shows_refused_rows_then_second_looks(odd, capsys):
    assert app(["check", str(odd)]) == 0
    told = capsys.readouterr().out
    assert told.index("No rows refused") < told.index("usual place") < told.index("1 finding open")
    assert "0.500" in told
    assert "[apart]" in told


def test_own_limits_beside_the_sheets_are_used(odd, capsys):
    (odd / "limits.csv").write_text("rule,limit,value\napart,confirm,0.9\napart,warn,0.9\n"
                                    "replicates,warn_aged,0.9\nreplicates,confirm_aged,0.9\n"
                                    "fell-fast,warn_first_year,0.9\n"
                                    "fell-fast,confirm_first_year,0.9\n")  # fmt: skip
    assert doubts(str(odd), capsys) == []
    assert app(["check", str(odd)]) == 0
    assert "limits.csv" not in capsys.readouterr().out
    assert app(["check", str(odd), "--limits", "nowhere.csv"]) == 2
    assert "nowhere.csv" in capsys.readouterr().err


def test_site_and_since_narrow_the_list(store, capsys):
    everything = doubts(store, capsys)
    assert len(everything) == 1
    day = everything[0]["read_on"]
    assert doubts(store, capsys, "--since", day, "--site", everything[0]["site"]) == everything
    assert doubts(store, capsys, "--since", "2025-05-01") == []
    for wrong, told in ((["--site", "MARS"], "MARS"), (["--since", "soon"], "soon")):
        assert app(["check", store, *wrong]) == 2
        assert told in capsys.readouterr().err


def test_settled_findings_leave_the_list_and_stay_known(store, capsys):
    name = doubts(store, capsys)[0]["finding"]
    assert app(["settle", store, name, "--as", "confirmed", "--reason", "a dirty panel"]) == 0
    assert "confirmed: 1 reading" in capsys.readouterr().out
    assert doubts(store, capsys) == []
    assert [row["state"] for row in doubts(store, capsys, "--all")] == ["confirmed"]
    assert app(["check", store, "--all"]) == 0
    assert f"{name}" in capsys.readouterr().out


def test_a_wrong_settlement_is_told_in_one_line(store, capsys):
    name = doubts(store, capsys)[0]["finding"]
    assert app(["settle", store, name, "--as", "corrected", "--reason", "slip"]) == 2
    assert "value" in capsys.readouterr().err
    assert (
        app(["settle", store, name, "--as", "corrected", "--reason", "slip", "--value", "78"]) == 2
    )
    assert app(["settle", store, "00000000", "--as", "confirmed", "--reason", "slip"]) == 2
    assert "00000000" in capsys.readouterr().err
