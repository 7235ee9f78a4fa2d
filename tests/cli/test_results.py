"""Tables fit a terminal of 80 columns, lose nothing, and say what they are."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aging.cli import output, results


def row(site: str, formulation: str, target: str, **more: object) -> dict[str, object]:
    return {
        "site": site, "formulation": formulation, "property": "solar_reflectance",
        "months": 36.0, "target": target, "estimate": 0.7123, "lower": 0.6904, "upper": 0.7311,
        "one_sided_bound": 0.6951,
        "level": 0.9, "n_panels": 3, "n_readings": 40, "observed_months": 19.71,
        "status": "projected", "notes": np.nan,
    } | more  # fmt: skip


@pytest.fixture
def frame():
    told = "few readings after the first year, so that the plateau leans on the prior"
    return pd.DataFrame(
        [
            row("Amaro Lagoon", "S0H0", "state"),
            row("Amaro Lagoon", "S0H0", "reading", lower=0.6812, upper=0.7444),
            row("Amaro Lagoon", "S8H30", "state", status="prior-driven", notes=f"{told}; one rack"),
            row("Amaro Lagoon", "S8H30", "reading"),
            row("all", "S8H30", "state", notes=f"one rack; {told}"),
            row("all", "S8H30", "reading", lower=np.nan, upper=np.nan),
        ]
    )


@pytest.fixture
def terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr(output, "watched", lambda: True)


@pytest.mark.usefixtures("terminal")
def test_a_projection_reads_at_80_columns(frame, capsys):
    results.show_projection(frame, ("two readings of washed panels are left out",))
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    title = " ".join(lines[:2])
    assert any("─" * 20 in line for line in lines)
    assert "Solar reflectance (fraction), projected at 36 months of exposure" in title
    assert "90 % intervals" in title
    (control,) = [line for line in lines if "S0H0" in line]
    assert control.split()[1:] == [
        "0.712",
        "0.690",
        "0.731",
        "0.695",
        "0.681",
        "0.744",
        "3",
        "19.7",
    ]
    assert "at least: bound of the state on its worse side alone, held with 90 %" in lines
    assert lines[-1] == results.CAUTION


def test_every_remark_stands_once_and_is_pointed_at(frame, capsys):
    results.show_projection(frame, ())
    text = capsys.readouterr().out
    for number, remark in enumerate(("prior-driven", "few readings after", "one rack"), start=1):
        assert text.count(remark) == 1
        assert f"{number} {remark}" in text
    first, second = (line for line in text.splitlines() if "S8H30" in line)
    assert first.split()[-2:] == ["19.7", "1-3"]
    assert second.split()[-2:] == ["19.7", "2-3"]


def test_what_is_missing_shows_as_a_hyphen_and_never_as_nan(frame, capsys):
    results.show_projection(frame, ())
    text = capsys.readouterr().out
    assert "nan" not in text.lower()
    assert [line.split()[5:7] for line in text.splitlines() if "S8H30" in line][1] == ["-", "-"]


def test_each_month_has_its_table(frame, capsys):
    results.show_projection(pd.concat([frame.assign(months=12.0), frame]), ())
    text = capsys.readouterr().out
    assert text.index("at 12 months") < text.index("at 36 months")
    assert text.count(results.CAUTION) == 1


def test_remarks_that_follow_each_other_are_shown_as_a_range(frame, capsys):
    many = frame.assign(notes=["a", "a", "b; c; d; f", "", "a; b; c; f", ""], status="projected")
    results.show_projection(many, ())
    lines = capsys.readouterr().out.splitlines()
    marks = [line.split("19.7 ")[1].strip() for line in lines if "19.7" in line]
    assert marks == ["1", "2-5", "1-3 5"]


def test_retention_is_shown_in_percent(frame, capsys):
    ratios = frame.assign(property="solar_reflectance retention")
    results.show_projection(ratios, ())
    text = capsys.readouterr().out
    assert "Solar reflectance retention (%), projected at 36 months" in text
    control = next(line for line in text.splitlines() if "S0H0" in line)
    assert control.split()[1:5] == ["71.2", "69.0", "73.1", "69.5"]


def test_where_lower_is_better_the_bound_is_one_from_above(frame, capsys):
    results.show_projection(frame.assign(property="yellowness_index"), ())
    text = capsys.readouterr().out
    assert "at most: bound of the state" in text
    assert "at least" not in text


@pytest.mark.usefixtures("terminal")
def test_losses_read_at_80_columns(frame, capsys):
    parts = pd.concat(
        frame.query("target == 'state'").assign(part=part, estimate=value)
        for part, value in (("total", 0.2), ("removable", 0.15), ("permanent", 0.05))
    )
    losses = parts.drop(columns=["target", "one_sided_bound"])
    results.show_projection(losses.assign(property="solar_reflectance loss"), ())
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert "Solar reflectance loss (fraction), projected" in lines[0]
    control = next(line for line in lines if "S0H0" in line)
    assert [control.split()[place] for place in (1, 4, 7)] == ["0.200", "0.150", "0.050"]
    assert "…" not in "".join(lines)


@pytest.mark.usefixtures("terminal")
def test_a_long_note_runs_on_under_its_own_first_word(frame, capsys):
    results.show_projection(frame, ("a " + "very " * 20 + "long note",))
    lines = capsys.readouterr().out.splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("Note: a very"))
    assert lines[start + 1].startswith("      very")
