"""Charts of comparisons: what is drawn, in what order, and that each renders with its sentence."""

from __future__ import annotations

import json

import pandas as pd
import pytest
import vl_convert

from aging.charts import (
    difference_chart,
    dose_chart,
    interaction_chart,
    origins_chart,
    rank_chart,
    site_paths_chart,
)
from aging.vocabulary import PROPERTIES

SR, YI = PROPERTIES["solar_reflectance"], PROPERTIES["yellowness_index"]


def svg(chart) -> str:
    spec = chart.to_dict()
    assert spec["description"] == "Told."
    return vl_convert.vegalite_to_svg(json.dumps(spec))


@pytest.fixture
def differences():
    rows = [("all", "B", 0.01), ("Hill", "B", 0.02), ("all", "C", 0.03), ("Hill", "C", 0.05)]
    frame = pd.DataFrame(rows, columns=["site", "formulation", "estimate"])
    ends = {"lower": -0.01, "upper": 0.01, "joint_lower": -0.02, "joint_upper": 0.02}
    return frame.assign(**{name: frame["estimate"] + off for name, off in ends.items()})


def test_intervals_all_at_once_are_thinner_lines_with_ends(differences):
    drawn = svg(difference_chart(differences, SR, description="Told."))
    assert drawn.count('aria-roledescription="tick"') == 2 * len(differences)
    assert drawn.count('aria-roledescription="rule mark"') == 2 * len(differences) + 1
    assert "thin: all of a site at once" in drawn
    alone = differences.drop(columns=["joint_lower", "joint_upper"])
    assert "all of a site at once" not in svg(difference_chart(alone, SR, description="Told."))


def test_one_that_fails_elsewhere_is_marked_and_stands_last(differences):
    chart = difference_chart(differences, SR, description="Told.", failing={"C": ("growth",)})
    assert "C: fails" in svg(chart)
    orders = [one["encoding"]["y"]["sort"] for one in chart.to_dict()["layer"] if
              "y" in one["encoding"]]  # fmt: skip
    assert all(order == ["B", "C: fails"] for order in orders)


def test_where_lower_is_better_the_worthwhile_line_is_left_of_none(differences):
    chart = difference_chart(differences, YI, description="Told.", worthwhile=0.5).to_dict()
    lines = [row["at"] for data in chart["datasets"].values() for row in data if "at" in row]
    assert sorted(lines) == [-0.5, 0.0]


def test_parts_keep_their_order():
    parts = pd.DataFrame({"site": "all", "name": ["initial value", "drift"],
                          "estimate": [0.01, 0.02], "lower": 0.0, "upper": 0.03})  # fmt: skip
    drawn = svg(origins_chart(parts, SR, order=["initial value", "drift"], description="Told."))
    assert drawn.index(">initial value<") < drawn.index(">drift<")


def test_paths_draw_a_band_and_a_line_for_each_and_a_legend():
    paths = pd.concat(
        pd.DataFrame({"formulation": name, "months": [0, 18, 36], "estimate": [0.8, 0.7, level],
                      "lower": level - 0.05, "upper": 0.85, "observed_months": 19.7})
        for name, level in (("B", 0.7), ("A", 0.6))
    )  # fmt: skip
    drawn = svg(site_paths_chart(paths, SR, order=["B", "A"], span=(0.5, 0.9), description="Told."))
    assert drawn.count('aria-roledescription="area mark"') == 2
    assert drawn.count('aria-roledescription="line mark"') == 2
    assert ">A<" in drawn
    assert ">B<" in drawn


def test_ranks_stand_as_numbers_best_on_top():
    ranks = pd.DataFrame({"formulation": ["A", "A", "B", "B"], "rank": [1, 2, 1, 2],
                          "probability": [0.004, 0.996, 0.996, 0.004]})  # fmt: skip
    drawn = svg(rank_chart(ranks, description="Told."))
    assert drawn.count(">100<") == 2
    assert ">0<" not in drawn
    assert "null" not in drawn
    assert drawn.index(">B<") < drawn.index(">A<")


def test_doses_meet_and_the_unexplored_is_grey():
    cells = pd.DataFrame({"s": [0.0, 15, 0, 15], "h": [0.0, 0, 30, 30], "estimate": 0.7,
                          "lower": 0.6, "upper": 0.8})  # fmt: skip
    drawn = svg(
        interaction_chart(cells, x="s", lines="h", title="SR", decimals=3, description="Told.")
    )
    assert "h 30" in drawn
    assert ">15<" in drawn
    curve = pd.DataFrame({"dose": [0.0, 4, 8], "estimate": [0.6, 0.7, 0.7], "lower": 0.5,
                          "upper": 0.8, "exposed": [True, False, True]})  # fmt: skip
    chart = dose_chart(curve, additive="s", title="SR", levels_off=4.0, description="Told.")
    drawn = svg(chart)
    assert ">not exposed<" in drawn
    assert drawn.count('aria-roledescription="point"') == 2
