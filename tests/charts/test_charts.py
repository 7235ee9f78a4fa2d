"""Each chart says what it shows: encodings, titles with unit, alternative text, and it renders."""

from __future__ import annotations

import json
import re

import numpy as np
import pandas as pd
import pytest
import vl_convert

from aging.charts import decay_chart, difference_chart, visits_chart
from aging.vocabulary import PROPERTIES

SR = PROPERTIES["solar_reflectance"]


def curve(observed: float = 19.7) -> pd.DataFrame:
    months = np.arange(0.0, 37.0)
    mean = 0.85 - 0.18 * (1 - np.exp(-0.15 * months))
    common = {"months": months, "estimate": mean, "level": 0.9, "observed_months": observed}
    return pd.concat([
        pd.DataFrame({**common, "target": target, "lower": mean - half, "upper": mean + half})
        for target, half in (("state", 0.02), ("reading", 0.04))
    ])  # fmt: skip


@pytest.fixture
def readings() -> pd.DataFrame:
    return pd.DataFrame({
        "months": [0.0, 6.0, 6.0], "value": [0.85, 0.74, 0.83],
        "mark": ["Measured, as exposed", "Measured, as exposed", "Measured, washed"],
        "series": ["as exposed", "as exposed", "washed"], "known": True,
        "panel": ["A-1", "A-1", "A-1"], "read_on": ["2024-01-02", "2024-07-02", "2024-07-02"],
    })  # fmt: skip


@pytest.fixture
def differences() -> pd.DataFrame:
    rows = [("all", "B", 0.01), ("Hill", "B", 0.02), ("Bay", "B", 0.0), ("all", "C", 0.03),
            ("Hill", "C", 0.05), ("Bay", "C", 0.01)]  # fmt: skip
    frame = pd.DataFrame(rows, columns=["site", "formulation", "estimate"])
    return frame.assign(lower=frame["estimate"] - 0.02, upper=frame["estimate"] + 0.02)


def rendered(chart) -> str:
    return vl_convert.vegalite_to_svg(json.dumps(chart.to_dict()))


def layers(chart, mark: str) -> list[dict]:
    def walk(spec):
        yield spec
        for inner in spec.get("layer", []):
            yield from walk(inner)

    marks = [one for one in walk(chart.to_dict()) if "mark" in one]
    return [m for m in marks if m["mark"] == mark or m["mark"].get("type") == mark]


def rows(chart, layer: dict) -> list[dict]:
    return chart.to_dict()["datasets"][layer["data"]["name"]]


def test_decay_bands_come_from_the_frame_and_differ_in_kind(readings):
    chart = decay_chart(curve(), readings, SR, at=36, description="A decays.")
    [band] = layers(chart, "area")
    assert (band["encoding"]["y"]["field"], band["encoding"]["y2"]["field"]) == ("lower", "upper")
    drawn = pd.DataFrame(rows(chart, band)).groupby("band", sort=False)
    assert [name for name, _ in drawn] == [
        "A visit's reading of it, 90 % interval",
        "The mean, 90 % interval",
    ]  # the wide one first, so that the narrow one lies on top
    width = drawn.apply(lambda g: (g["upper"] - g["lower"]).iloc[-1])
    assert width.tolist() == pytest.approx([0.08, 0.04])


def test_an_inner_band_of_the_mean_lies_within_the_marked_interval(readings):
    inner = curve().assign(level=0.5, lower=lambda f: f["estimate"] - 0.008,
                           upper=lambda f: f["estimate"] + 0.008)  # fmt: skip
    both = pd.concat([curve(), inner])
    chart = decay_chart(both, readings, SR, at=36, description="A decays.")
    [band] = layers(chart, "area")
    drawn = pd.DataFrame(rows(chart, band)).groupby("band", sort=False)
    width = drawn.apply(lambda g: (g["upper"] - g["lower"]).iloc[-1])
    assert list(width.index)[2] == "The mean, 50 % interval"
    assert width.tolist() == pytest.approx([0.08, 0.04, 0.016])
    [marked] = [rows(chart, rule) for rule in layers(chart, "rule")
                if rule["encoding"].get("y", {}).get("field") == "lower"]  # fmt: skip
    assert [row["level"] for row in marked] == [0.9]


def test_readings_that_came_later_are_hollow_in_the_look_of_their_series(readings):
    later = readings.tail(1).assign(months=30.0, mark="Read later, washed", known=False)
    both = pd.concat([readings, later])
    chart = decay_chart(curve(), both, SR, at=36, description="A decays.")
    marks = next(p["encoding"] for p in layers(chart, "point") if "shape" in p["encoding"])
    fill, stroke, shape = (marks[name]["scale"] for name in ("fill", "stroke", "shape"))
    assert stroke["domain"][1:] == ["Measured, washed", "Read later, washed"]
    assert fill["range"][1:] == [stroke["range"][1], "transparent"]
    assert stroke["range"][1] == stroke["range"][2] != stroke["range"][0]
    assert shape["range"][1] == shape["range"][2] != shape["range"][0]
    assert rendered(chart).count('aria-roledescription="point"') == 5


def test_decay_is_solid_where_observed_and_dashed_where_projected(readings):
    chart = decay_chart(curve(), readings, SR, at=36, description="A decays.")
    [line] = layers(chart, "line")
    spans = pd.DataFrame(rows(chart, line)).groupby("part")["months"].agg(["min", "max"])
    assert spans.loc["Mean, observed months"].tolist() == [0, 19]
    assert spans.loc["Mean, projected"].tolist() == [19, 36]


def test_decay_marks_washed_readings_apart_and_writes_the_value(readings):
    chart = decay_chart(curve(), readings, SR, at=36, description="A decays.")
    shapes = next(p["encoding"]["shape"]["scale"] for p in layers(chart, "point")
                  if "shape" in p["encoding"])  # fmt: skip
    assert len(set(shapes["range"])) == len(shapes["domain"]) == 2
    svg = rendered(chart)
    assert ">0.671<" in svg
    assert "Solar reflectance, fraction" in svg
    assert "Months exposed (a month is 30.44 days)" in svg
    assert chart.to_dict()["description"] == "A decays."


def test_decay_without_a_projection_still_shows_the_readings(readings):
    nothing = curve().assign(estimate=np.nan, lower=np.nan, upper=np.nan)
    chart = decay_chart(nothing, readings, SR, at=36, description="Cannot project.")
    assert not layers(chart, "area")
    assert rendered(chart).count('aria-roledescription="point"') == 3


def test_differences_are_ordered_and_measured_from_the_line(differences):
    chart = difference_chart(differences, SR, description="C leads.", worthwhile=0.005)
    point = layers(chart, "point")[0]["encoding"]
    assert point["y"]["sort"] == ["C", "B"]
    assert point["yOffset"]["sort"] == ["mean over sites", "Bay", "Hill"]
    [line] = [r for r in layers(chart, "rule") if r["encoding"]["x"]["field"] == "at"]
    assert [row["at"] for row in rows(chart, line)] == [0.0, 0.005]
    svg = rendered(chart)
    for words in ("Solar reflectance, fraction", "better: to the right", "mean over sites"):
        assert words in svg


def test_where_lower_is_better_the_lowest_stands_on_top(differences):
    chart = difference_chart(differences, PROPERTIES["yellowness_index"], description="B leads.")
    assert layers(chart, "point")[0]["encoding"]["y"]["sort"] == ["B", "C"]
    assert "better: to the left" in rendered(chart)


def test_visits_draw_one_tick_a_visit():
    days = pd.to_datetime(["2024-01-15", "2024-02-15", "2024-05-02"])
    spans = pd.DataFrame({"site": ["Hill"], "start": days[:1], "end": days[2:]})
    visits = pd.DataFrame({"site": "Hill", "on": days, "panels": [27, 27, 26]})
    svg = rendered(visits_chart(spans, visits, description="Three visits."))
    assert len(re.findall(r'aria-roledescription="tick"', svg)) == 3
    assert len(re.findall(r'aria-roledescription="bar"', svg)) == 1
    assert "Calendar day" in svg
    several = visits_chart(pd.concat([spans] * 3), visits, description="Three trials at a site.")
    assert several.height == visits_chart(spans, visits, description="One.").height


def test_text_that_looks_like_markup_stays_text(differences):
    differences["formulation"] = differences["formulation"].replace("B", "<img src=x>")
    svg = rendered(difference_chart(differences, SR, description="Odd names."))
    assert "<img" not in svg
    assert "&lt;img src=x&gt;" in svg


def test_a_claimed_value_is_a_dashed_line_with_its_number(readings):
    chart = decay_chart(curve(), readings, SR, at=36, description="A decays.", claimed=0.674)
    [line] = [one for one in layers(chart, "rule") if one["mark"].get("strokeDash") == [9, 3, 2, 3]]
    assert rows(chart, line) == [{"value": 0.674, "text": "claimed 0.67"}]
    plain = decay_chart(curve(), readings, SR, at=36, description="A decays.")
    assert len(layers(chart, "rule")) == len(layers(plain, "rule")) + 1
