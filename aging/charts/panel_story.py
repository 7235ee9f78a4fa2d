"""Readings of a panel, or of a few beside each other, through its life, with what befell it."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style
from aging.vocabulary import Property

ODD = "asks for a second look"
LOOK = {  # standing: colour, filled, shape, size
    "counts": (style.INK, True, "circle", 45),
    "washed series": (style.PALETTE[2], True, "diamond", 70),
    "rinsed series": (style.PALETTE[2], True, "triangle-down", 70),
    "bleached series": (style.PALETTE[2], False, "diamond", 70),
    "left out": (style.PALETTE[4], False, "square", 70),
    "corrected": (style.MUTED, False, "cross", 70),
    ODD: (style.PALETTE[1], True, "triangle-up", 190),
}
MOST_NAMED, HEIGHT = 8, 280  # events beyond are drawn without their name


def panel_story_chart(
    readings: pd.DataFrame, events: pd.DataFrame, prop: Property, *, description: str
) -> Any:
    """Readings by day; a line joins the unwashed ones of a panel that count.

    readings: at, value, panel, surface_state, standing (of LOOK), why ("" for those that count).
    events: at, event, own; a named rule for the panels' own, a tick at the foot for the site's.
    """
    x = alt.X("at:T", title=None, scale=alt.Scale(padding=16),
              axis=style.days(tickCount=6))  # fmt: skip
    axis = alt.Axis(title=style.quantity(prop), format=f".{min(prop.decimals, 2)}f")
    y = alt.Y("value:Q", axis=axis, scale=alt.Scale(zero=False, padding=14))
    shown = [name for name in LOOK if (readings["standing"] == name).any()]
    scales = [alt.Scale(domain=shown, range=[LOOK[name][part] for name in shown])
              for part in (0, 2, 3)]  # fmt: skip
    fills = alt.Scale(domain=shown, range=[LOOK[name][0] if LOOK[name][1] else "transparent"
                                           for name in shown])  # fmt: skip
    legend = style.legend()
    size: Any = alt.Size("standing:N", scale=scales[2], legend=legend)
    if len(shown) == 1:  # a scale of sizes with one size is none, and its marks are not drawn
        size = alt.SizeValue(LOOK[shown[0]][3])
    points = alt.Chart(readings).mark_point(strokeWidth=1.6).encode(
        x, y,
        alt.Stroke("standing:N", scale=scales[0], legend=legend),
        alt.Fill("standing:N", scale=fills, legend=legend),
        alt.Shape("standing:N", scale=scales[1], legend=legend),
        size,
        tooltip=[
            alt.Tooltip("panel:N", title="Panel"), alt.Tooltip("at:T", title="Read on"),
            alt.Tooltip("value:Q", title="Read", format=f".{prop.decimals}f"),
            alt.Tooltip("standing:N", title="Standing"), alt.Tooltip("why:N", title="Why"),
        ],
    )  # fmt: skip
    unwashed = readings["surface_state"] == "as_exposed"
    joined = readings[unwashed & (readings["why"] == "")]
    line = alt.Chart(joined).mark_line(color=style.MUTED, strokeWidth=1.1, opacity=0.7).encode(
        x, y, alt.Detail("panel:N")
    )  # fmt: skip
    own = events[events["own"]]
    told = [alt.Tooltip("event:N", title="Event"), alt.Tooltip("at:T", title="On")]
    marks = [
        alt.Chart(own).mark_rule(color=style.MUTED, strokeDash=[4, 3]).encode(x, tooltip=told),
        alt.Chart(own.head(MOST_NAMED))
        .mark_text(angle=270, align="right", baseline="bottom", dx=-4, dy=-3, color=style.INK,
                   fontSize=12)
        .encode(x, alt.Y(value=0), alt.Text("event:N")),
    ] if len(own) else []  # fmt: skip
    if not events["own"].all():
        foot = alt.Y(value=HEIGHT - 5)
        ticks = alt.Chart(events[~events["own"]]).mark_tick(
            orient="vertical", size=10, thickness=1.5, color=style.MUTED
        )  # fmt: skip
        marks.append(ticks.encode(x, foot, tooltip=told))
    return style.finish(alt.layer(*marks, line, points), description=description, height=HEIGHT)
