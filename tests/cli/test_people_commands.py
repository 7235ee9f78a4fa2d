"""People and deeds from the command line: no command slips past the gate."""

from __future__ import annotations

import getpass
import json

import pytest
import typer
from argon2 import PasswordHasher
from typer.main import get_command

from aging.access import passcodes
from aging.cli import app, gate
from aging.cli.commands import commands

CODE = "nine panels in the sun"
REGISTRY = get_command(commands).commands


@pytest.fixture(autouse=True)
def at_a_desk(monkeypatch, tmp_path):
    """Logged in as desk, who types CODE when asked for a passcode."""
    hasher = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
    monkeypatch.setattr(passcodes, "_hasher", lambda: hasher)
    monkeypatch.setattr(getpass, "getuser", lambda: "desk")
    monkeypatch.setattr(gate, "getuser", lambda: "desk")
    monkeypatch.setattr(typer, "prompt", lambda *_, **__: CODE)
    monkeypatch.delenv(gate.PERSON, raising=False)
    monkeypatch.delenv(gate.PASSCODE, raising=False)
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def store(folder):
    assert app(["load", str(folder), "--store", "s.sqlite"]) == 0
    return "s.sqlite"


@pytest.fixture
def team(store):
    assert app(["people", store, "desk", "--add", "--role", "keeper"]) == 0
    for name, role in (("tess", "technician"), ("mara", "manager,formulator")):
        assert app(["people", store, name, "--add", "--role", role, "--passcode"]) == 0
    return store


def be(monkeypatch, name, code=CODE):
    monkeypatch.setenv(gate.PERSON, name)
    monkeypatch.setenv(gate.PASSCODE, code)


def said(capsys):
    told = capsys.readouterr()
    return " ".join((told.out + told.err).split())


def test_a_store_without_people_is_open_and_says_so_once(store, capsys):
    capsys.readouterr()
    assert app(["people", store]) == 0
    assert "may do everything" in said(capsys)
    assert app(["check", store]) == 0
    assert "people" not in said(capsys)
    assert app(["deeds", store]) == 0
    assert "begins with the first keeper" in said(capsys)


def test_each_command_asks_who_may(team, folder, monkeypatch, capsys):
    be(monkeypatch, "tess")
    assert app(["load", str(folder), "--store", team]) == 0
    assert app(["export", "out", "--store", team]) == 2
    assert "tess (technician) may not take out: for formulator, manager only" in said(capsys)
    assert app(["check", team]) == 0
    assert app(["check", team, "--json", "found.json"]) == 2
    be(monkeypatch, "mara")
    assert app(["export", "out", "--store", team]) == 0
    assert app(["backup", team, "copy.sqlite"]) == 2
    assert app(["people", team, "eve", "--add", "--role", "keeper"]) == 2
    capsys.readouterr()
    assert app(["deeds", team, "--json", "-"]) == 0
    told = [(one["who"], one["deed"], one["on"], one["through"])
            for one in json.loads(capsys.readouterr().out)["deeds"]]  # fmt: skip
    assert told[-2:] == [
        ("tess", "log", str(folder), "command"), ("mara", "take out", "out", "command"),
    ]  # fmt: skip
    assert ("desk", "people", "tess: added technician", "") in told
    assert "argon2" not in str(told)


def test_a_name_is_proved(team, monkeypatch, capsys):
    assert app(["people", team]) == 0  # the login name of a person without passcode is enough
    assert "manager" in said(capsys)
    monkeypatch.setenv(gate.PERSON, "tess")
    assert app(["check", team]) == 2
    assert f"set {gate.PERSON}" in said(capsys)
    be(monkeypatch, "tess", "wrong passcode")
    assert app(["project", "--store", team]) == 2
    assert "passcode is wrong" in said(capsys)
    be(monkeypatch, "eve")
    assert app(["verify", team]) == 2
    monkeypatch.setattr(gate, "getuser", lambda: "stranger")
    monkeypatch.delenv(gate.PERSON)
    monkeypatch.delenv(gate.PASSCODE)
    assert app(["story", "--store", team]) == 2
    assert "knows its people" in said(capsys)


def test_what_is_stored_bears_the_proved_name(team, folder, monkeypatch, capsys):
    be(monkeypatch, "tess")
    more = folder / "readings.csv"
    more.write_text(more.read_text().replace("2025-06-02", "2025-07-02"))
    assert app(["load", str(folder), "--store", team, "--by", "somebody else"]) == 2
    assert "is not you (tess)" in said(capsys)
    assert app(["load", str(folder), "--store", team]) == 0
    be(monkeypatch, "mara")
    assert app(["export", "out", "--store", team]) == 0
    by = [line.split(",") for line in (folder.parent / "out/readings.csv").read_text().splitlines()]
    place = by[0].index("recorded_by")
    assert {line[place] for line in by[1:]} == {"desk", "tess"}


def test_the_first_keeper_can_prove_to_be_one(store, capsys):
    assert app(["people", store, "kai", "--add", "--role", "keeper"]) == 2
    assert "add --passcode" in said(capsys)
    assert app(["people", store, "kai", "--add", "--role", "keeper", "--passcode"]) == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [(["kai"], "NAME and what to change"), (["--add"], "NAME and what to change"),
     (["desk", "--add", "--role", "king"], "king"), (["kai", "--end", "--passcode"], "--end alone"),
     (["desk", "--end"], "not known")],
)  # fmt: skip
def test_wrong_calls_end_in_one_line(store, words, told, capsys):
    capsys.readouterr()
    assert app(["people", store, *words]) == 2
    assert told in said(capsys)


def test_every_command_that_writes_or_takes_out_has_its_deed():
    writes = {name for name, one in REGISTRY.items() if any(p.name == "by" for p in one.params)}
    known = {*gate.DEEDS, *(name for name, _ in gate.WHERE)}
    assert writes <= known
    assert known | gate.OWN <= set(REGISTRY)
    options = {name: {p.name for p in one.params} for name, one in REGISTRY.items()}
    assert all(option in options[name] for name, option in gate.WHERE)
    assert all({"store", "source"} & options[name] for name in known)
