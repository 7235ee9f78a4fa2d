"""One look for all charts: colours, marks, axes, legends.

The palette was searched so that any two colours stay at least 29 CIELAB units apart in normal
vision and in the three dichromacies of Machado, Oliveira and Fernandes 2009 (doi
10.1109/TVCG.2009.113), each with a contrast of 3 or more on the page; a test holds it. A shape
or a dash always goes beside a colour.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeVar

import altair as alt

from aging.vocabulary import Property

Look = TypeVar("Look")

PAGE = "#f5f8f8"
INK = "#16262c"
MUTED = "#46585e"
GRID = "#d3dfe0"
PALETTE = ("#0b6474", "#b3540a", "#8e7be8", "#a5836a", "#151560", "#470d10")
SHAPES = ("diamond", "circle", "triangle-up", "square", "cross", "triangle-down", "stroke")
DASHES: tuple[list[int], ...] = ([1, 0], [7, 4], [2, 3], [9, 3, 2, 3])
WIDE_BAND = "#cfe3e4"
BAND = "#86bcc2"
INNER_BAND = "#57a0a8"
LEGEND_ROWS = "{bottom: {direction: 'vertical', anchor: 'start'}}"
FONT = "Source Sans, sans-serif"
UNIT_WORDS = {"um": "µm", "GU": "gloss units"}
BARE = {"fraction", "1", "rating"}  # written after no number


def quantity(prop: Property) -> str:
    """Name and unit: 'Solar reflectance, fraction'; without a unit the symbol: 'Lightness, L*'."""
    unit = prop.symbol if prop.unit == "1" else UNIT_WORDS.get(prop.unit, prop.unit)
    return f"{prop.label}, {unit}"


def quantity_within(prop: Property) -> str:
    """`quantity` within a sentence."""
    return quantity(replace(prop, label=prop.within))


def unit_after(prop: Property) -> str:
    """What stands after a number: ' gloss units', ' °C', nothing after a fraction or L*."""
    return "" if prop.unit in BARE else f" {UNIT_WORDS.get(prop.unit, prop.unit)}"


def cycle(names: list[str], of: tuple[Look, ...]) -> list[Look]:
    """One entry of `of` for each name, starting over where there are more names."""
    return [of[i % len(of)] for i in range(len(names))]


def legend(**more: Any) -> alt.Legend:
    """A legend below the chart, in one column on a phone."""
    columns: Any = alt.ExprRef("width < 420 ? 1 : 2")
    return alt.Legend(title=None, columns=columns, **more)


def days(**more: Any) -> alt.Axis:
    """An axis of calendar days, whose labels neither meet nor leave the chart."""
    return alt.Axis(format="%b %Y", labelOverlap=True, labelBound=True, **more)


def finish(chart: Any, *, description: str, height: int) -> Any:
    """The chart with the house look, its size and its alternative text.

    All at once: each step of a chain copies the whole chart.
    """
    return chart.properties(**_look(description, height))


def layered(layers: list[Any], *, description: str, height: int, apart: tuple[str, ...]) -> Any:
    """`finish` of layers whose scales of some channels stand apart, in one step."""
    scale: dict[str, Any] = dict.fromkeys(apart, "independent")
    resolve = alt.Resolve(scale=alt.ScaleResolveMap(**scale))
    return alt.layer(*layers, resolve=resolve, **_look(description, height))


def _look(description: str, height: int) -> dict[str, Any]:
    axis = alt.AxisConfig(
        labelColor=INK, titleColor=INK, labelFontSize=13, titleFontSize=13,
        titleFontWeight="normal", gridColor=GRID, domainColor=MUTED, tickColor=MUTED,
        labelLimit=130,
    )  # fmt: skip
    legend = alt.LegendConfig(
        orient="bottom", labelColor=INK, labelFontSize=13, labelLimit=330, symbolSize=110,
        rowPadding=3, offset=10, layout=alt.ExprRef(LEGEND_ROWS),
    )  # fmt: skip
    view = alt.ViewConfig(stroke=None)
    return {
        "width": 640, "height": height, "description": description, "background": PAGE,
        "autosize": alt.AutoSizeParams(type="fit-x", contains="padding"),
        "config": alt.Config(font=FONT, padding=4, view=view, axis=axis, legend=legend),
    }  # fmt: skip
