"""How a projection moved: its interval as of each past visit, and what was read in the end."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style
from aging.vocabulary import Property


def movement_chart(moved: pd.DataFrame, prop: Property, *, description: str) -> Any:
    """Intervals of one series and one target against the months known.

    moved: observed_months, as_of, estimate, lower, upper, months, later; the line is `later`, what
    was read at the month projected to, where it is known.
    """
    title = f"Projected to {moved['months'].iloc[0]:g} months: {style.quantity(prop)}"
    y = alt.Axis(title=title, format=f".{min(prop.decimals, 2)}f")
    scale = alt.Scale(zero=False)
    places = f".{prop.decimals}f"
    base = alt.Chart(moved).encode(
        alt.X(
            "observed_months:Q", title="Months of readings known",
            axis=alt.Axis(values=list(range(0, 241, 3)), format="d", labelOverlap=True),
            scale=alt.Scale(domainMin=0, padding=12),
        )
    )  # fmt: skip
    intervals = base.mark_rule(color=style.BAND, strokeWidth=7).encode(
        alt.Y("lower:Q", axis=y, scale=scale), alt.Y2("upper:Q")
    )
    points = base.mark_point(
        shape="diamond", filled=True, size=80, opacity=1, color=style.PALETTE[0]
    ).encode(
        alt.Y("estimate:Q", axis=y, scale=scale),
        tooltip=[
            alt.Tooltip("as_of:N", title="As of"),
            alt.Tooltip("estimate:Q", title="Projected", format=places),
            alt.Tooltip("lower:Q", title="From", format=places),
            alt.Tooltip("upper:Q", title="To", format=places),
        ],
    )
    read = moved[["later"]].dropna().head(1)
    name = f"Read at {moved['months'].iloc[0]:g} months"
    dash = alt.Scale(domain=[name], range=[[5, 3]])
    line = (
        alt.Chart(read.assign(name=name))
        .mark_rule(color=style.INK, strokeWidth=1.5)
        .encode(
            alt.Y("later:Q", axis=y, scale=scale),
            alt.StrokeDash("name:N", scale=dash, legend=style.legend(symbolSize=500)),
        )
    )
    layers = [intervals, points, *([line] if len(read) else [])]
    return style.finish(alt.layer(*layers), description=description, height=300)
