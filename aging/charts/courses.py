"""How fast each course of loss runs: its share of the whole over time."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style


def courses_chart(frame: pd.DataFrame, *, description: str) -> Any:
    """frame: months, share of the loss (0 at the start), course."""
    names = list(dict.fromkeys(frame["course"]))
    line = (
        alt.Chart(frame)
        .mark_line(strokeWidth=2.5)
        .encode(
            alt.X(
                "months:Q",
                scale=alt.Scale(domain=[0, frame["months"].max()]),
                axis=alt.Axis(title="Months exposed", values=[0, 6, 12, 24, 36]),
            ),
            alt.Y(
                "share:Q",
                scale=alt.Scale(domain=[0, 1]),
                axis=alt.Axis(title="Share of the loss", format="%", tickCount=5),
            ),
            alt.Color(
                "course:N",
                scale=alt.Scale(domain=names, range=style.cycle(names, style.PALETTE)),
                legend=style.legend(),
            ),
            alt.StrokeDash(
                "course:N",
                scale=alt.Scale(domain=names, range=style.cycle(names, style.DASHES)),
                legend=style.legend(),
            ),
            tooltip=[
                alt.Tooltip("course:N", title="Course"),
                alt.Tooltip("months:Q", title="Months", format=".0f"),
                alt.Tooltip("share:Q", title="Share", format=".0%"),
            ],
        )
    )
    return style.finish(line, description=description, height=260)
