"""The commands around a visit: what they write, what they say, what they refuse in one line."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from aging.cli import app
from aging.ledger import open_ledger


def run(capsys, *words):
    code = app([str(word) for word in words])
    told = capsys.readouterr()
    return code, told.out, told.err


@pytest.fixture
def equipped(folder):
    """The racks with two instruments that read the same panels, and a calibration that is over."""
    rows = pd.read_csv(folder / "readings.csv")
    both = [
        rows.assign(instrument="SR-1"),
        rows.assign(instrument="SR-2", value=rows["value"] + 0.01),
    ]
    pd.concat(both).to_csv(folder / "readings.csv", index=False)
    (folder / "instruments.csv").write_text(
        "instrument,calibration_due,tile,tile_value\nSR-1,2025-01-31,T7,0.83\nSR-2,2026-12-31,,\n"
    )
    return folder


@pytest.fixture
def store(equipped, tmp_path, capsys):
    assert run(capsys, "load", equipped, "--store", tmp_path / "t.sqlite")[0] == 0
    return tmp_path / "t.sqlite"


def test_plan_lists_what_is_open_and_writes_it_for_a_calendar(capsys, folder, tmp_path):
    code, out, _ = run(capsys, "plan", folder, "--as-of", "2025-10-01", "--ics", tmp_path / "v.ics")
    assert code == 0
    assert "due" in out
    assert "missed" not in out
    assert "4 visits" in out
    assert (tmp_path / "v.ics").read_bytes().count(b"BEGIN:VEVENT") == 4
    _, out, _ = run(capsys, "plan", folder, "--as-of", "2025-10-01", "--all", "--json", "-")
    states = [visit["state"] for visit in json.loads(out)["visits"]]
    assert len(states) == 11
    assert {"done", "missed", "due", "to come"} == set(states)


def test_labels_and_their_key(capsys, folder, tmp_path):
    out = tmp_path / "labels.pdf"
    code, told, _ = run(
        capsys, "labels", folder, "--address", "http://pc:8501", "--out", out, "--blind"
    )
    assert code == 0
    assert out.read_bytes().startswith(b"%PDF")
    assert "6 labels" in told
    key = pd.read_csv(tmp_path / "labels.key.csv")
    assert key["panel"].tolist()[0] == "plain-1"
    assert key["code"].is_unique
    for wrong in (("--address", "pc"), ("--address", "http://pc", "--grid", "3by8")):
        code, _, told = run(capsys, "labels", folder, "--out", out, *wrong)
        assert code == 2
        assert told.count("\n") == 1


def test_rack_draws_panels_of_a_source_or_new_ones(capsys, folder, tmp_path):
    sides = ("--site", "yard", "--rows", 2, "--columns", 4)
    code, told, _ = run(capsys, "rack", folder, *sides, "--out", tmp_path / "rack.svg")
    assert (code, "6 panels, 2 spare" in told) == (0, True)
    new = ("--formulations", "A,B", "--exposed-on", "2026-04-01", "--out", tmp_path / "p.csv")
    assert run(capsys, "rack", *sides, *new)[0] == 0
    rows = pd.read_csv(tmp_path / "p.csv")
    assert rows["position"].nunique() == len(rows) == 6
    assert set(rows["exposed_on"]) == {"2026-04-01"}
    code, _, told = run(capsys, "rack", folder, *sides, *new)
    assert (code, "--formulations" in told) == (2, True)


def test_instruments_tell_what_is_overdue_and_take_a_check(capsys, store):
    call = ("instruments", "--store", store, "--as-of", "2025-06-01")
    code, out, _ = run(capsys, *call)
    assert code == 0
    assert out.index("SR-1") < out.index("overdue") < out.index("SR-2") < out.index("valid")
    code, out, _ = run(capsys, *call, "--check", "SR-1", "--value", "0.84", "--stage", "after",
                       "--at", "2025-06-02T09:00", "--by", "anna", "--json", "-")  # fmt: skip
    assert code == 0
    assert json.loads(out)["control"][0]["deviation"] == pytest.approx(0.01)
    code, _, told = run(capsys, *call, "--check", "SR-1")
    assert (code, "--value" in told) == (2, True)


def test_bridge_tells_the_bias_and_corrects_only_when_asked(capsys, store):
    call = ("bridge", "--store", store, "--first", "SR-1", "--second", "SR-2")
    code, out, _ = run(capsys, *call)
    assert code == 0
    assert "SR-2 reads +0.0100 against SR-1" in out
    with open_ledger(store) as book:
        assert book.read().readings["supersedes"].isna().all()
    code, _, told = run(capsys, *call, "--correct")
    assert (code, "reason" in told) == (2, True)
    code, out, _ = run(capsys, *call, "--correct", "--reason", "bridging set", "--by", "anna")
    assert (code, "corrected 36 readings" in out) == (0, True)
    assert "SR-2 reads +0.0000" in run(capsys, *call)[1].replace("-0.0000", "+0.0000")


@pytest.mark.parametrize("ending", ["xlsx", "pdf"])
def test_a_round_is_written_by_the_ending_of_its_file(capsys, folder, tmp_path, ending):
    out = tmp_path / f"round.{ending}"
    call = ("round", folder, "--site", "yard", "--on", "2025-07-01", "--out")
    code, told, _ = run(capsys, *call, out)
    assert (code, "6 panels" in told) == (0, True)
    assert out.read_bytes()[:4] == {"xlsx": b"PK\x03\x04", "pdf": b"%PDF"}[ending]
    code, _, told = run(capsys, *call, tmp_path / "round.doc")
    assert (code, ".xlsx" in told) == (2, True)
