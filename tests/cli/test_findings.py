"""Findings are told together where they are alike, and none is left out."""

from __future__ import annotations

import pytest

from aging.cli import findings, output
from aging.ledger import Receipt
from aging.records import Exposure, Finding, Intake, Severity, Tally, empty_frame

NOTHING = Exposure(*(empty_frame(sheet) for sheet in Exposure.__dataclass_fields__))


def finding(row: int | None, severity: Severity = "block", code: str = "out-of-range") -> Finding:
    seen = "" if row is None else f"1.{row}"
    return Finding(code, severity, "readings.csv", row, "value", seen, "0 to 1", "correct it")


def intake(*found: Finding, notes: tuple[str, ...] = ()) -> Intake:
    return Intake(NOTHING, found, (Tally("readings", 9, 2, 7),), notes)


def test_like_findings_stand_together_and_are_counted(capsys):
    findings.show(intake(*map(finding, range(2, 9))), "racks")
    text = capsys.readouterr().out
    assert "row 2: 1.2, row 3: 1.3, row 4: 1.4, row 5: 1.5, row 6: 1.6 and 2 more rows" in text
    assert text.count("allowed: 0 to 1; correct it") == 1
    assert "7 rows refused." in text


def test_each_severity_has_its_heading_and_findings_of_no_row_are_told(capsys):
    found = (finding(None, "warn", "no-weather"), finding(3, "confirm", "unusual"), finding(4))
    findings.show(intake(*found, notes=("kept as extra facts: batch",)), "racks")
    text = capsys.readouterr().out
    told = [text.index(word) for word in ("Refused", "Please confirm", "Good to know", "Notes")]
    assert told == sorted(told)
    assert all(f"[{one.code}]" in text for one in found)
    assert "kept as extra facts: batch" in text


def test_a_load_tells_what_the_store_refused_as_well(capsys):
    clash = finding(5, code="conflict")
    receipt = Receipt("readings", rows=2, stored=1, refused=1, findings=(clash,))
    read = intake(finding(2))
    findings.show_load(read, (receipt,), "s.sqlite")
    text = capsys.readouterr().out
    assert ["readings", "9", "1", "0", "8"] in [line.split() for line in text.splitlines()]
    assert "[conflict]" in text
    assert findings.of_load(read, (receipt,)) == (*read.findings, clash)


@pytest.mark.parametrize("terminal", [True, False])
def test_progress_goes_to_stderr_and_only_to_a_terminal(monkeypatch, capsys, terminal):
    monkeypatch.setattr(output, "attended", lambda: terminal)
    monkeypatch.setenv("FORCE_COLOR", "1")
    with output.progress("reading") as step:
        step(1, 4)
        step(4, 4)
    out, err = capsys.readouterr()
    assert out == ""
    assert ("reading" in err) is terminal
