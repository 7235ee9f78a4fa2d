"""Charts of spectra, colour and ratings draw their frames, in order and told apart."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aging.charts import (
    band_loss_chart,
    colour_track_chart,
    rating_strip_chart,
    spectra_chart,
    swatch_chart,
)
from aging.charts.rating_strips import figure_colours, shades
from aging.vocabulary import PROPERTIES

NM = np.arange(300.0, 2501.0, 100.0)
RATED = [name for name, prop in PROPERTIES.items() if prop.scale == "ordinal"]


def luminance(colour: str) -> float:
    levels = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(levels <= 0.04045, levels / 12.92, ((levels + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def layers(spec: dict) -> list[dict]:
    """All unit layers of a layered chart, from the bottom to the top."""
    parts = spec.get("layer", [])
    return [one for part in parts for one in layers(part)] if parts else [spec]


def marked(spec: dict, mark: str) -> list[dict]:
    return [one for one in layers(spec) if one["mark"]["type"] == mark]


def rows_of(spec: dict, layer: dict) -> list[dict]:
    return spec["datasets"][layer["data"]["name"]]


def test_spectra_lie_over_a_sun_with_an_axis_of_its_own():
    spectra = pd.concat(
        pd.DataFrame({"spectrum": name, "when": when, "state": state, "wavelength_nm": NM,
                      "reflectance": value})
        for name, when, state, value in (
            ("a", "new", "as exposed", 0.8), ("b", "18.0 months", "as exposed", 0.6),
            ("c", "18.0 months", "washed", 1.05),
        )
    )  # fmt: skip
    sun = pd.DataFrame({"wavelength_nm": NM, "irradiance": 1.5})
    chart = spectra_chart(spectra, sun, weighting="G173 direct", description="two and a wash")
    spec = chart.to_dict()
    assert spec["description"] == "two and a wash"
    assert spec["resolve"]["scale"]["y"] == "independent"
    [area], [line] = marked(spec, "area"), marked(spec, "line")
    assert layers(spec)[0] == area
    assert area["encoding"]["y"]["axis"]["orient"] == "right"
    assert "G173 direct, W/m²/nm" in area["encoding"]["y"]["axis"]["title"]
    assert line["encoding"]["color"]["scale"]["domain"] == ["new", "18.0 months"]
    dashes = line["encoding"]["strokeDash"]["scale"]
    assert dashes["domain"] == ["as exposed", "washed"]
    assert dashes["range"][0] != dashes["range"][1]
    assert line["encoding"]["detail"]["field"] == "spectrum"
    assert line["encoding"]["y"]["scale"]["domain"] == [0, 1.05]
    assert len(rows_of(spec, line)) == len(spectra)
    [limits] = marked(spec, "rule")
    assert [row["low"] for row in rows_of(spec, limits)] == [400, 700]


@pytest.mark.parametrize("sign", [1, -1])
def test_the_loss_of_a_band_has_its_figure_beside_it_on_either_side(sign):
    lost = pd.DataFrame({"band": ["visible", "near infrared"], "loss": [0.05 * sign, 0.02 * sign]})
    spec = band_loss_chart(lost, description="by band").to_dict()
    [bars], [text] = marked(spec, "bar"), marked(spec, "text")
    low, high = bars["encoding"]["x"]["scale"]["domain"]
    assert (low == 0 and high > 0.05) if sign > 0 else (low < -0.05 and high > 0)
    assert text["encoding"]["text"]["field"] == "loss"
    assert bars["encoding"]["y"]["sort"] == ["visible", "near infrared"]


def test_a_track_tells_states_apart_by_more_than_colour():
    rows = pd.DataFrame({
        "months": [0.0, 12.0, 12.0], "state": ["as exposed", "as exposed", "washed"],
        "panel": "P1", "lightness": [95.0, 88.0, np.nan],
    })  # fmt: skip
    chart = colour_track_chart(rows, rows, "lightness", title="L*", description="down")
    spec = chart.to_dict()
    [line], [points] = marked(spec, "line"), marked(spec, "point")
    for encoding in (line["encoding"]["strokeDash"], points["encoding"]["shape"]):
        assert encoding["scale"]["domain"] == ["as exposed", "washed"]
        assert encoding["scale"]["range"][0] != encoding["scale"]["range"][1]
    assert [row["lightness"] for row in rows_of(spec, points)] == [95.0, 88.0]
    assert points["encoding"]["y"]["title"] == "L*"


def test_swatches_touch_and_have_the_very_colour():
    shown = pd.DataFrame({"name": ["new, as exposed", "later"], "colour": ["#f4f3ee", "#d9d8d0"]})
    spec = swatch_chart(shown, description="beside each other").to_dict()
    blocks = marked(spec, "rect")[0]
    assert blocks["encoding"]["x"]["scale"]["padding"] == 0
    assert blocks["encoding"]["color"]["scale"] is None
    assert [row["colour"] for row in rows_of(spec, blocks)] == ["#f4f3ee", "#d9d8d0"]


@pytest.mark.parametrize("name", RATED)
def test_shades_darken_step_by_step_and_carry_readable_figures(name):
    prop = PROPERTIES[name]
    steps = shades(prop)
    assert len(steps) == (prop.high - prop.low) / prop.step + 1
    assert next(iter(steps)) == (prop.high if prop.higher_is_better else prop.low)
    light = [luminance(shade) for shade in steps.values()]
    assert (np.diff(light) < 0).all()
    for step, ink in figure_colours(prop).items():
        low, high = sorted((luminance(ink), luminance(steps[step])))
        assert (high + 0.05) / (low + 0.05) >= 4.5


def test_strips_show_every_panel_below_its_median_on_the_native_scale():
    panels = pd.DataFrame({
        "formulation": "F", "months": [0.0, 0.0, 12.04, 12.04], "panel": ["P1", "P2", "P1", "P2"],
        "value": [10.0, 9.0, 9.0, 7.0], "place": [0, 1, 0, 1],
    })  # fmt: skip
    cells = pd.DataFrame({
        "formulation": "F", "months": [0.0, 12.04], "median": [9.0, 7.0], "best": [10.0, 9.0],
        "worst": [9.0, 7.0], "panels": 2,
    })  # fmt: skip
    chart = rating_strip_chart(cells, panels, PROPERTIES["growth"], description="strips")
    spec = chart.to_dict()
    medians, blocks = marked(spec, "rect")
    [figures] = marked(spec, "text")
    assert [row["rating"] for row in rows_of(spec, figures)] == ["9", "7"]
    assert [(row["place"], row["rating"]) for row in rows_of(spec, blocks)] == [
        (0, "10"), (1, "9"), (0, "9"), (1, "7"),
    ]  # fmt: skip
    assert blocks["encoding"]["xOffset"]["field"] == "place"
    for layer in (medians, blocks):
        domain = layer["encoding"]["color"]["scale"]["domain"]
        assert domain == [f"{step}" for step in range(10, -1, -1)]
    assert medians["encoding"]["x"]["type"] == "ordinal"
    assert medians["encoding"]["x"]["axis"]["format"] == ".1f"
