from __future__ import annotations

import pandas as pd
import pytest

from aging.comparison.guards import COLUMNS, failing, guards, limits
from aging.errors import SourceError
from aging.records import Exposure, empty_frame

HEAD = "property,bound,limit,when,source,checked\n"


def exposure(*rows):
    """Readings (formulation, property, day, value), one panel each."""
    panels = pd.DataFrame(
        [
            {"panel": f"P{n}", "formulation": mix, "site": "S", "exposed_on": "2024-01-01"}
            for n, (mix, *_) in enumerate(rows)
        ]
    )
    readings = pd.DataFrame(
        [
            {"panel": f"P{n}", "read_on": day, "property": name, "value": value}
            for n, (_, name, day, value) in enumerate(rows)
        ]
    )
    names = list(dict.fromkeys(mix for mix, *_ in rows))
    formulations = pd.DataFrame({"formulation": names, "role": "candidate"})
    sheets = {"panels": panels, "readings": readings, "formulations": formulations}
    blank = {name: empty_frame(name) for name in ("sites", "events", "weather")}
    return Exposure(**blank, **sheets)


def verdicts(found, mix="A"):
    mine = found[found["formulation"] == mix]
    return dict(zip(mine["property"], mine["verdict"], strict=True))


def test_a_hard_coating_fails_what_a_soft_one_passes():
    soft = [("A", "elongation", "2024-06-01", value) for value in (180, 200, 210)]
    hard = [("B", "elongation", "2024-06-01", value) for value in (60, 65, 58)]
    found = guards(exposure(*soft, *hard))
    assert list(found) == list(COLUMNS)
    assert verdicts(found)["elongation"] == "passes"
    assert verdicts(found, "B")["elongation"] == "fails"
    assert verdicts(found)["wet_adhesion"] == "not read"
    assert failing(found) == {"B": ("elongation",)}


def test_scatter_about_the_limit_is_undecided():
    found = guards(exposure(*[("A", "wet_adhesion", "2024-06-01", v) for v in (300, 360, 420)]))
    assert verdicts(found)["wet_adhesion"] == "undecided"


def test_ratings_are_judged_by_their_worst_and_latest():
    rows = [("A", "cracking", "2024-06-01", value) for value in (9, 9, 5)]
    assert verdicts(guards(exposure(*rows)))["cracking"] == "fails"
    one = exposure(("A", "cracking", "2024-06-01", 5.0))
    later = one.readings.assign(read_on="2025-06-01", value=8.0)
    healed = Exposure(**dict(one.frames()) | {"readings": pd.concat([one.readings, later])})
    assert verdicts(guards(healed))["cracking"] == "passes"


def test_growth_is_held_to_the_control_beside_it():
    rows = [(mix, "growth", "2024-06-01", value) for mix, values in
            (("A", (4, 5, 5)), ("B", (4, 4, 3)), ("C", (2, 3, 3))) for value in values]  # fmt: skip
    facts = exposure(*rows)
    roles = facts.formulations.assign(role=["control", "candidate", "candidate"])
    found = guards(Exposure(**dict(facts.frames()) | {"formulations": roles}))
    assert [verdicts(found, mix)["growth"] for mix in "ABC"] == ["passes", "passes", "fails"]
    assert verdicts(guards(facts))["growth"] == "not read"  # without a control there is no bar


def test_limits_are_data(tmp_path):
    assert limits().query("property == 'low_temperature_bend'")["source"].str.contains("-26").all()
    assert limits()["source"].str.len().gt(0).all()
    path = tmp_path / "own.csv"
    path.write_text(
        "property,bound,limit,when,source,checked\nelongation,at least,300,latest,us,\n"
    )
    found = guards(exposure(("A", "elongation", "2024-06-01", 200.0)), limits(path))
    assert verdicts(found) == {"elongation": "fails"}


def test_a_wrong_table_of_limits_names_every_fault(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text(HEAD + "shine,over,x,today,us,\n")
    with pytest.raises(SourceError) as told:
        limits(path)
    assert all(word in str(told.value) for word in ("shine", "over", "'x'", "today", "row 2"))
    path.write_text(HEAD.replace("bound,", ""))
    with pytest.raises(SourceError, match="lacks bound"):
        limits(path)
    with pytest.raises(SourceError, match="cannot be read"):
        limits(tmp_path / "none.csv")
