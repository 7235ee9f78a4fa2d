"""A panel's story is whole, and says of every reading whether it counts as the cube does."""

from __future__ import annotations

import json
from io import BytesIO

import pandas as pd
import pytest
import vl_convert
from PIL import Image

from aging.charts import panel_story_chart
from aging.charts.panel_story import ODD
from aging.checks import check, settle
from aging.cli import app
from aging.cube import moments, seen
from aging.errors import CallError
from aging.fieldwork import photos
from aging.fieldwork.story import COUNTS, LEFT_OUT, REPLACED, kept, story
from aging.ledger import open_ledger
from aging.records import exposure_with
from aging.vocabulary import PROPERTIES

SHARED = {"property": "solar_reflectance", "surface_state": "as_exposed", "instrument": "SR-1",
          "weighting": "G173 global tilt", "operator": "anna", "unit": "fraction"}  # fmt: skip
MORE = [
    {"panel": "P2", "read_on": "2025-10-06", "value": 0.74, "reading_id": "late"},
    {"panel": "P2", "read_on": "2025-10-06", "value": 0.84, "reading_id": "washed",
     "surface_state": "washed"},
    {"panel": "P2", "read_on": "2025-10-06", "value": 0.81, "reading_id": "rinsed",
     "surface_state": "rinsed"},
    {"panel": "P1", "read_on": "2025-10-06", "value": 0.73, "reading_id": "other sun",
     "weighting": "AM1GH"},
    {"panel": "P1", "read_on": "2025-10-07", "value": 0.80, "reading_id": "slurry",
     "evidence": "slurry"},
    {"panel": "P1", "read_on": "2025-10-06", "value": 0.50, "reading_id": "slip"},
    {"panel": "P1", "read_on": "2025-10-08", "value": 0.60, "reading_id": "odd"},
]  # fmt: skip
EVENTS = [
    {"on": "2025-09-15", "kind": "wash", "panel": "P2", "remark": "by mistake"},
    {"on": "2025-09-16", "kind": "move", "panel": "P1", "remark": "to R2 c5"},
    {"on": "2025-09-17", "kind": "storm", "site": "HILL"},
    {"on": "2024-09-17", "kind": "storm", "site": "HILL", "remark": "before it hung"},
]


@pytest.fixture
def book(store):
    with open_ledger(store) as book:
        more = [SHARED | row for row in MORE]
        book.append(exposure_with("readings", more), by="desk", source="t")
        book.append(exposure_with("events", EVENTS), by="desk", source="t")
        book.correct("slip", 0.72, by="lead", reason="typed 0.50 for 0.72")
        found = check(book.read())
        odd = found.frame.loc[found.frame["reading_id"] == "odd", "finding"].iloc[0]
        settle(book, found, odd, "excluded", reason="gull", by="lead")
        yield book


def told(book, panel):
    return story(book.read(), panel, kept(book.label, book.read()), check(book.read()))


def standing(book, panel):
    rows = story(book.read(), panel, kept(book.label, book.read())).readings.set_index("reading_id")
    return {name: (row["standing"], row["why"]) for name, row in rows.iterrows()}


def test_every_reading_says_whether_it_counts(book):
    one, other = standing(book, "P1"), standing(book, "P2")
    assert one["other sun"] == (
        LEFT_OUT, "read under other conditions than the series at this site"
    )  # fmt: skip
    assert one["slurry"] == (LEFT_OUT, "laboratory, not outdoors")
    assert one["odd"] == (LEFT_OUT, "excluded: gull")
    assert one["slip"] == (REPLACED, "corrected to 0.72")
    assert one["slip~2"] == (COUNTS, "")
    assert other["late"] == (
        LEFT_OUT, "after wash on 2025-09-15, which ended its unwashed series"
    )  # fmt: skip
    assert other["washed"] == ("washed series", "washed: not in the unwashed series")
    assert other["rinsed"] == ("rinsed series", "rinsed: not in the unwashed series")


def test_what_counts_is_what_the_cube_holds(book):
    exposure = book.read()
    held = set(seen(exposure)[0]["reading_id"])
    for panel in exposure.panels["panel"]:
        for name, (how, _) in standing(book, panel).items():
            assert (how in (COUNTS, "washed series", "rinsed series")) == (name in held), name


def test_the_story_runs_along_time_with_who_and_why(book):
    picture = BytesIO()
    Image.new("RGB", (20, 20), "white").save(picture, "PNG")
    photos.keep(book, picture.getvalue(), "P1", taken_on="2025-09-01", by="anna", remark="corner")
    found = told(book, "P1")
    assert list(found.entries["on"]) == sorted(found.entries["on"])
    kinds = found.entries["kind"].tolist()
    assert kinds[0] == "mounted"
    assert {"read", "moved", "storm", "photo", "corrected", "excluded"} <= set(kinds)
    assert kinds.count("storm") == 1
    rows = found.entries.set_index("kind")
    slip = rows.loc["corrected"]
    assert slip["what"] == "SR 0.500 read on 2025-10-06 is now SR 0.720"
    assert (slip["by"], slip["why"]) == ("lead", "typed 0.50 for 0.72")
    assert slip["on"] > "2025-10-08"
    assert (rows.loc["excluded", "by"], rows.loc["excluded", "why"]) == ("lead", "gull")
    assert rows.loc["moved", "what"] == "to R2 c5"
    washed = told(book, "P2").entries.set_index("kind").loc["washed", "what"]
    assert washed == "by mistake, its unwashed series ends"


def test_open_doubts_stand_in_the_story(book):
    entries = told(book, "P2").entries
    assert entries.loc[entries["kind"] == "doubted", "what"].str.contains("series had ended").any()
    assert "doubted" not in set(story(book.read(), "P2").entries["kind"])


def test_sheets_tell_the_same_story_without_names(book):
    exposure = book.read()
    found = story(exposure, "P1")
    assert set(found.readings["reading_id"]) == set(
        exposure.readings.loc[exposure.readings["panel"] == "P1", "reading_id"]
    )
    excluded = found.entries.set_index("kind").loc["excluded"]
    assert (excluded["on"], excluded["by"], excluded["why"]) == ("2025-10-08", "", "gull")
    assert story(exposure, "F1").entries["kind"].tolist()[0] == "made"


def test_a_panel_that_was_never_read_has_a_story(book):
    panel = {"panel": "new", "formulation": "F", "site": "HILL", "exposed_on": "2025-10-09"}
    book.append(exposure_with("panels", [panel]), by="desk", source="t")
    found = told(book, "new")
    assert found.readings.empty
    assert found.entries["kind"].tolist() == ["mounted"]


def test_the_command_tells_it(book, capsys):
    assert app(["story", "--store", book.label, "P1"]) == 0
    told = capsys.readouterr().out
    assert "typed 0.50 for 0.72" in told
    assert "1 left out (2025-10-08): excluded: gull" in told
    assert app(["story", "P1"]) == 2
    assert app(["story", "--store", book.label, "P99"]) == 2
    assert "'P99'" in capsys.readouterr().err


def test_a_panel_that_is_not_known(exposure):
    with pytest.raises(CallError, match="panel: 'P99'"):
        story(exposure, "P99")


def test_the_chart_joins_what_counts_and_marks_the_odd(book):
    rows = told(book, "P1").readings.query("property == 'solar_reflectance'")
    rows = rows.assign(at=moments(rows["read_on"]), panel="P1")
    rows.loc[rows["reading_id"] == "slip~2", "standing"] = ODD
    events = pd.DataFrame({"at": rows["at"].iloc[:2], "event": ["move", "storm"],
                           "own": [True, False]})  # fmt: skip
    chart = panel_story_chart(rows, events, PROPERTIES["solar_reflectance"], description="P1, told")
    spec = json.loads(chart.to_json())
    assert spec["description"] == "P1, told"
    kinds = [layer["mark"]["type"] for layer in spec["layer"]]
    assert kinds == ["rule", "text", "tick", "line", "point"]
    data = {layer["mark"]["type"]: spec["datasets"][layer["data"]["name"]]
            for layer in spec["layer"]}  # fmt: skip
    assert {row["standing"] for row in data["line"]} == {COUNTS, ODD}
    assert len(data["point"]) == len(rows)
    domain = spec["layer"][-1]["encoding"]["shape"]["scale"]["domain"]
    assert domain == [COUNTS, LEFT_OUT, REPLACED, ODD]


def test_a_doubted_reading_that_stands_alone_is_drawn():
    row = {"at": pd.Timestamp("2025-10-08"), "value": 0.58, "panel": "P1", "why": "",
           "surface_state": "as_exposed", "standing": ODD}  # fmt: skip
    events = pd.DataFrame({"at": [], "event": [], "own": []}).astype({"own": bool})
    prop = PROPERTIES["solar_reflectance"]
    chart = panel_story_chart(pd.DataFrame([row]), events, prop, description="P1")
    assert "NaN" not in vl_convert.vegalite_to_svg(chart.to_dict())
