"""What makes an interval wide, and how it moved, as drawn."""

from __future__ import annotations

import json

import pandas as pd
import pytest
import vl_convert

from aging.charts import movement_chart, width_chart
from aging.vocabulary import PROPERTIES

SHARES = pd.DataFrame({
    "interval": ["The mean"] * 3 + ["A reading"] * 3,
    "source": ["course", "drift", "visits"] * 2,
    "share": [-0.1, 0.8, 0.3, 0.2, 0.5, 0.3],
})  # fmt: skip
MOVED = pd.DataFrame({
    "observed_months": [0.0, 6.1, 12.0], "as_of": ["2024-01-02", "2024-07-05", "2025-01-02"],
    "estimate": [0.66, 0.68, 0.69], "lower": [0.5, 0.6, 0.65], "upper": [0.8, 0.76, 0.73],
    "months": 36.0, "later": 0.7,
})  # fmt: skip


def rendered(chart) -> str:
    return vl_convert.vegalite_to_svg(json.dumps(chart.to_dict()))


def test_shares_stack_in_their_order_and_one_below_0_is_seen():
    spec = width_chart(SHARES, description="Mostly drift.").to_dict()
    encoding = spec["encoding"]
    assert encoding["x"]["stack"] == "zero"
    assert encoding["x"]["scale"]["domain"] == pytest.approx([-0.1, 1.1])
    assert encoding["y"]["sort"] == ["The mean", "A reading"]
    assert encoding["color"]["scale"]["domain"] == ["course", "drift", "visits"]
    assert spec["description"] == "Mostly drift."
    svg = rendered(width_chart(SHARES, description="Mostly drift."))
    assert svg.count('aria-roledescription="bar"') == 6
    assert "Share of the interval" in svg


def test_shares_that_add_up_fill_the_bar():
    whole = SHARES[SHARES["interval"] == "A reading"]
    spec = width_chart(whole, description="Mostly drift.").to_dict()
    assert spec["encoding"]["x"]["scale"]["domain"] == [0, 1]


def test_intervals_stand_where_they_were_known_and_the_later_reading_is_a_line():
    chart = movement_chart(MOVED, PROPERTIES["solar_reflectance"], description="It narrowed.")
    interval, point, line = chart.to_dict()["layer"]
    assert interval["encoding"]["x"]["field"] == "observed_months"
    ends = (interval["encoding"][end]["field"] for end in ("y", "y2"))
    assert (*ends, point["encoding"]["y"]["field"]) == ("lower", "upper", "estimate")
    assert line["encoding"]["strokeDash"]["scale"]["domain"] == ["Read at 36 months"]
    svg = rendered(chart)
    for words in ("Projected to 36 months: Solar reflectance, fraction", "Read at 36 months",
                  "Months of readings known"):  # fmt: skip
        assert words in svg


def test_without_a_later_reading_there_is_no_line():
    ahead = MOVED.assign(later=float("nan"))
    chart = movement_chart(ahead, PROPERTIES["solar_reflectance"], description="It narrowed.")
    assert len(chart.to_dict()["layer"]) == 2
    assert "Read at" not in rendered(chart)
