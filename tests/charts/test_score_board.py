"""Charts of the score board draw what the board says."""

from __future__ import annotations

import pandas as pd
import pytest

from aging.charts import coverage_chart, error_chart
from aging.vocabulary import PROPERTIES

BOARD = pd.DataFrame({
    "cut": [6.0, 6.0, 12.0, 12.0],
    "forecaster": ["model", "walk", "model", "walk"],
    "coverage": [0.8, 0.6, 0.9, None],
    "coverage_lower": [0.7, 0.4, 0.8, None],
    "coverage_upper": [0.9, 0.8, 0.95, None],
    "abs_error": [0.03, 0.05, 0.01, 0.02],
    "n_series": [40, 40, 30, 30],
})  # fmt: skip


def layers(chart):
    spec = chart.to_dict()
    return {layer["mark"]["type"]: layer for layer in spec["layer"]}, spec


def test_coverage_stands_with_its_range_against_the_promise():
    chart = coverage_chart(BOARD, 0.9, description="how many held")
    rules = [layer for layer in chart.to_dict()["layer"] if layer["mark"]["type"] == "rule"]
    fields = {layer["encoding"]["y"]["field"] for layer in rules}
    assert fields == {"level", "coverage_lower"}
    spec = chart.to_dict()
    assert spec["description"] == "how many held"
    drawn = [rows for rows in spec["datasets"].values() if "coverage" in rows[0]]
    assert [row["coverage"] for row in drawn[0]] == [0.8, 0.6, 0.9]
    assert [{"level": 0.9}] in spec["datasets"].values()
    assert "90 % promised" in rules[0]["encoding"]["y"]["axis"]["title"]


@pytest.mark.parametrize("name", ["solar_reflectance", "gloss_60"])
def test_errors_start_at_zero_in_the_unit_of_the_property(name):
    marks, spec = layers(error_chart(BOARD, PROPERTIES[name], description="how far off"))
    y = marks["point"]["encoding"]["y"]
    assert y["scale"]["domainMin"] == 0
    assert {"solar_reflectance": "fraction", "gloss_60": "gloss units"}[name] in y["axis"]["title"]
    assert marks["point"]["encoding"]["shape"]["scale"]["domain"] == ["model", "walk"]
    assert spec["description"] == "how far off"
