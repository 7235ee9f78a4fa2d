"""Colour over the months exposed, and colours side by side as a screen shows them."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style


def colour_track_chart(
    panels: pd.DataFrame, means: pd.DataFrame, field: str, *, title: str, description: str
) -> Any:
    """Panels as marks and their means by visit as lines, a colour, shape and dash a state.

    panels: months, state, panel and `field`; means: months, state and `field`.
    """
    states = list(dict.fromkeys(means["state"]))
    x = alt.X(
        "months:Q", title="Months exposed",
        scale=alt.Scale(nice=False, domainMin=0, padding=8),
        axis=alt.Axis(values=list(range(0, 241, 6)), format="d", labelOverlap=True),
    )  # fmt: skip
    y = alt.Y(f"{field}:Q", title=title, scale=alt.Scale(zero=False), axis=alt.Axis(tickCount=5))
    colours = alt.Color(
        "state:N", legend=style.legend(),
        scale=alt.Scale(domain=states, range=style.cycle(states, style.PALETTE)),
    )  # fmt: skip
    shapes = alt.Scale(domain=states, range=style.cycle(states, style.SHAPES))
    dashes = alt.Scale(domain=states, range=style.cycle(states, style.DASHES))
    lines = (
        alt.Chart(means.dropna(subset=[field])[["months", "state", field]])
        .mark_line(strokeWidth=2)
        .encode(x, y, colours, alt.StrokeDash("state:N", scale=dashes, legend=style.legend()))
    )
    marks = (
        alt.Chart(panels.dropna(subset=[field])[["months", "state", "panel", field]])
        .mark_point(size=36, strokeWidth=1.4)
        .encode(
            x, y, colours,
            alt.Shape("state:N", scale=shapes, legend=style.legend()),
            tooltip=[
                alt.Tooltip("panel:N", title="Panel"),
                alt.Tooltip("months:Q", title="Months", format=".1f"),
                alt.Tooltip(f"{field}:Q", title=title, format=".2f"),
            ],
        )
    )  # fmt: skip
    return style.finish(alt.layer(lines, marks), description=description, height=230)


def swatch_chart(swatches: pd.DataFrame, *, description: str) -> Any:
    """Colours edge to edge, as the eye compares them; swatches: name, colour such as "#f4f3ee"."""
    axis = alt.Axis(
        title=None, labelAngle=0, labelExpr="split(datum.label, ', ')", labelLimit=200,
        domain=False, ticks=False, labelPadding=6,
    )  # fmt: skip
    frame = alt.Chart(pd.DataFrame({"one": [1]})).mark_rect(
        fill="transparent", stroke=style.MUTED, aria=False
    )
    blocks = (
        alt.Chart(swatches[["name", "colour"]])
        .mark_rect()
        .encode(
            alt.X("name:N", sort=None, axis=axis, scale=alt.Scale(padding=0)),
            alt.Color("colour:N", scale=None),
        )
    )
    return style.finish(alt.layer(blocks, frame), description=description, height=190)
