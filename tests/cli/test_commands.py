"""What each command answers, with which exit code, and that no call ends in a traceback."""

from __future__ import annotations

import json
import subprocess
import sys

import pandas as pd
import pytest
from typer.main import get_command

from aging import cli
from aging.cli import app, results
from aging.cli.commands import commands

COMMANDS = get_command(commands).commands


@pytest.fixture(autouse=True)
def plain_run(monkeypatch, tmp_path):
    monkeypatch.delenv("AGING_DEBUG", raising=False)
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("name", COMMANDS)
def test_help_tells_the_job_in_one_line_with_an_example(name, capsys):
    assert app([name, "--help"]) == 0
    text = capsys.readouterr().out
    told = COMMANDS[name].help
    assert told is not None
    assert "\n" not in told.strip()
    assert told.strip() in text
    assert f"Example: aging {name} " in text


def test_without_a_command_the_help_names_all(capsys):
    assert app([]) == 0
    text = capsys.readouterr().out
    assert all(f"\n  {name} " in text for name in COMMANDS)
    assert "..." not in text.split("Commands:")[1]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["projct"], "No such command 'projct'"),
        (["check"], "folder"),
        (["check", "nowhere"], "nowhere"),
        (["load", "nowhere"], "--store"),
        (["load", "nowhere", "--store", "new.sqlite"], "nowhere"),
        (["project"], "name one source"),
        (["project", "racks", "--store", "s.sqlite"], "name one source"),
        (["project", "racks", "--months", "soon"], "--months: 'soon'"),
        (["project", "racks", "--months", "-3"], "months"),
        (["project", "racks", "--level", "95"], "level"),
        (["project", "racks", "--level", "high"], "--level"),
        (["project", "racks", "--property", "shine"], "shine"),
        (["project", "racks", "--as-of", "lately"], "lately"),
        (["project", "nowhere"], "nowhere"),
        (["project", "--store", "nowhere.sqlite"], "nowhere.sqlite"),
        (["project", "--mnths", "3"], "--mnths"),
        (["project", "racks", "--months", "12,300"], "months: 300.0"),
        (["project", "racks", "--time", "hour"], "'month'"),
        (["project", "racks", "--priors", "none.csv"], "none.csv"),
        (["project", "racks", "--retention", "--losses"], "one of them"),
        (["project", "racks", "--movement", "--losses"], "one of them"),
        (["project", "racks", "--retention", "--property", "lightness"], "ratio scale"),
        (["compare", "racks", "--level", "95"], "level"),
        (["compare", "racks", "--priors", "none.csv"], "none.csv"),
        (["backtest", "racks", "--cuts", "6", "--priors", "none.csv"], "none.csv"),
        (["compare", "racks", "--as-of", "2020-01-01"], "2020-01-01 is before the first reading"),
        (["project", "racks", "--as-of", "2020-01-01"], "of 2024-04-02"),
        (["export", "copy", "--store", "nowhere.sqlite"], "nowhere.sqlite"),
        (["dashboard", "nowhere"], "nowhere"),
        (["dashboard", "racks", "--port", "0"], "--port"),
        (["check", "racks", "--json", "no/such/folder.json"], "no/such/folder.json"),
    ],
)
@pytest.mark.usefixtures("folder")
def test_a_wrong_call_ends_in_one_line(words, told, capsys):
    assert app(words) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert error.startswith("aging: ")
    assert told in error


def test_a_fault_of_the_program_is_one_line_too(monkeypatch, capsys):
    monkeypatch.setattr(cli, "commands", lambda *_, **__: 1 / 0)
    assert app(["check"]) == 3
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "please report it: ZeroDivisionError" in error
    monkeypatch.setenv("AGING_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        app(["check"])


def test_check_passes_a_sound_folder(folder, capsys):
    assert app(["check", str(folder)]) == 0
    text = capsys.readouterr().out
    assert ["readings", "36", "36", "0"] in [line.split() for line in text.splitlines()]
    assert "No rows refused." in text


def test_check_lists_every_fault_and_blocks(faulty, capsys):
    assert app(["check", str(faulty)]) == 1
    text = capsys.readouterr().out
    assert "1.4" in text
    assert "03/06/2024" in text
    assert "2 rows refused." in text


def test_an_ambiguous_day_is_settled_by_an_option(faulty, capsys):
    assert app(["check", str(faulty), "--day-first", "--json", "-"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert {one["seen"] for one in found["findings"] if one["severity"] == "block"} == {"1.4"}
    assert sum(one["refused"] for one in found["tallies"]) == 1


def test_load_stores_once_and_export_gives_it_back(folder, tmp_path, capsys):
    def counts(sheet: str, *words: str) -> list[str]:
        assert app(list(words)) == 0
        lines = [line.split() for line in capsys.readouterr().out.splitlines()]
        return next(line[1:] for line in lines if line[:1] == [sheet])

    load = ("load", str(folder), "--store", "s.sqlite", "--by", "tester")
    assert counts("readings", *load) == ["36", "36", "0", "0"]
    assert counts("readings", *load) == ["36", "0", "36", "0"]
    assert app(["export", str(tmp_path / "copy"), "--store", "s.sqlite"]) == 0
    capsys.readouterr()
    again = ("load", str(tmp_path / "copy"), "--store", "t.sqlite")
    assert counts("readings", *again) == ["36", "36", "0", "0"]


def test_load_keeps_the_sound_rows_of_a_faulty_folder(faulty, capsys):
    assert app(["load", str(faulty), "--store", "s.sqlite"]) == 1
    lines = [line.split() for line in capsys.readouterr().out.splitlines()]
    assert ["readings", "36", "34", "0", "2"] in lines


def test_project_answers_the_same_from_folder_and_store(folder, capsys):
    store = ["--store", "readings.store"]  # a store by its option, whatever its name
    assert app(["load", str(folder), *store]) == 0
    capsys.readouterr()
    assert app(["project", *store, "--json", "-"]) == 0
    stored = json.loads(capsys.readouterr().out)
    assert app(["project", str(folder), "--json", "-"]) == 0
    read = json.loads(capsys.readouterr().out)
    assert [(row["site"], row["formulation"]) for row in read["rows"]] == [
        (row["site"], row["formulation"]) for row in stored["rows"]
    ]
    for one, other in zip(read["rows"], stored["rows"], strict=True):
        assert one["estimate"] == pytest.approx(other["estimate"], abs=1e-9)
    assert read["caution"] == results.CAUTION
    assert read["priors"]


def test_what_is_asked_for_is_checked_before_the_source_is_read(capsys):
    for words in (["--level", "95"], ["--months", "300"], ["--property", "shine"]):
        for name in ("project", "compare"):
            assert app([name, "nowhere", *words]) == 2
            assert "nowhere" not in capsys.readouterr().err


def test_project_shows_retention_or_losses(folder, capsys):
    def rows(*words: str) -> list[dict[str, object]]:
        assert app(["project", str(folder), "--months", "12", "--json", "-", *words]) == 0
        return json.loads(capsys.readouterr().out)["rows"]

    value, retention, losses = rows(), rows("--retention"), rows("--losses")
    assert [row["target"] for row in retention] == [row["target"] for row in value]
    assert all(0.8 < row["estimate"] < 1 for row in retention)
    assert {row["part"] for row in losses} == {"total", "removable", "permanent"}
    assert not any(row["informed"] for row in losses)
    assert app(["project", str(folder), "--losses"]) == 0
    assert "never read washed" in capsys.readouterr().out


def test_project_shows_how_the_projection_moved(folder, capsys):
    arguments = ["project", str(folder), "--months", "14,36", "--movement"]
    assert app([*arguments, "--json", "-"]) == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    days = [{row["as_of"] for row in rows if row["months"] == months} for months in (14, 36)]
    assert [len(one) for one in days] == [5, 6]
    assert days[1] - days[0] == {"2025-06-02"}
    assert {row["later"] is None for row in rows if row["months"] == 36} == {True}
    assert app(arguments) == 0
    shown = capsys.readouterr().out
    assert "plain, yard" in shown
    assert "read at 14 months" in shown
    assert "read at 36 months" not in shown
    last = [row for row in rows if row["months"] == 36 and row["target"] == "reading"][-1]
    assert f"{last['estimate']:.3f} {last['lower']:.3f} {last['upper']:.3f}" in shown
    assert app(["project", str(folder), "--months", "0", "--movement"]) == 0
    assert "No visit came before" in capsys.readouterr().out


def test_priors_and_the_scale_of_time_may_be_chosen(folder, tmp_path, capsys):
    def told(*words: str) -> dict[str, object]:
        assert app(["project", str(folder), "--json", "-", *words]) == 0
        return json.loads(capsys.readouterr().out)

    def loss(of: dict[str, object]) -> float:
        return next(row["value"] for row in of["priors"] if row["quantity"] == "loss")

    table = pd.DataFrame(told()["priors"]).assign(property="solar_reflectance", time="month")
    table.loc[table["quantity"] == "loss", "value"] = 0.3
    table.to_csv(tmp_path / "mine.csv", index=False)
    assert loss(told("--priors", "mine.csv")) == 0.3
    assert loss(told()) != 0.3
    assert loss(told("--time", "day", "--months", "15")) == 0.0


def test_project_says_that_rows_were_left_out(faulty, capsys):
    assert app(["project", str(faulty)]) == 1
    text = capsys.readouterr().out
    assert "2 rows were refused" in text
    assert results.CAUTION in text


def test_compare_shows_the_candidate_against_the_control(folder, capsys):
    assert app(["compare", str(folder), "--months", "12,36"]) == 0
    text = capsys.readouterr().out
    assert "difference to plain, state" in text
    assert "at 12 months" in text
    assert "at 36 months" in text
    assert "silica" in text


def test_the_command_and_the_module_are_one_and_start_light(tmp_path):
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "aging", "--help"],
        cwd=tmp_path, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert "project" in done.stdout
    loaded = {line.split("|")[-1].strip().split(".")[0] for line in done.stderr.splitlines()}
    assert "typer" in loaded
    heavy = {"numpy", "pandas", "scipy", "statsmodels", "streamlit", "altair", "sqlalchemy"}
    assert not heavy & loaded


def test_a_reader_that_stops_early_meets_no_traceback(tmp_path):
    done = subprocess.run(
        ["sh", "-c", f"{sys.executable} -m aging --help | head -c 1"],
        cwd=tmp_path, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stderr == ""
