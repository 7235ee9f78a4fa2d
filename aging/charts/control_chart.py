"""What tiles and file specimens were read beyond their level, between limits, visit by visit."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style
from aging.vocabulary import Property

LIMITS = (("2 standard deviations", 2.0), ("3 standard deviations", 3.0))
MOST_SERIES = len(style.PALETTE)  # beyond, only the kind of thing read is told apart
MARKED = {"inside": 55, "unknown": 55, "warning": 110, "action": 200}


def control_chart(control: pd.DataFrame, prop: Property, *, description: str) -> Any:
    """Deviations of one instrument by time; limits where its standard deviation is known.

    control: at, series, kind, value, reference, deviation, sigma, verdict. Beyond the limits points
    are larger.
    """
    names = control["series"].drop_duplicates().tolist()
    by = "series" if len(names) <= MOST_SERIES else "kind"
    shown = control[by].drop_duplicates().tolist()
    axis = alt.Axis(title=f"Read minus level: {style.quantity(prop)}", format=f"+.{prop.decimals}f")
    y = alt.Y("deviation:Q", axis=axis, scale=alt.Scale(padding=14))
    places, legend = f".{prop.decimals}f", style.legend()
    points = (
        alt.Chart(control.assign(size=control["verdict"].map(MARKED)))
        .mark_point(filled=True, opacity=0.9)
        .encode(
            alt.X("at:T", title=None, axis=style.days(),
                  scale=alt.Scale(padding=14)),
            y,
            alt.Color(f"{by}:N", legend=legend, scale=alt.Scale(
                domain=shown, range=style.cycle(shown, style.PALETTE))),
            alt.Shape(f"{by}:N", legend=legend, scale=alt.Scale(
                domain=shown, range=style.cycle(shown, style.SHAPES))),
            alt.Size("size:Q", scale=None),
            tooltip=[
                alt.Tooltip("series:N", title="Read on"), alt.Tooltip("at:T", title="When"),
                alt.Tooltip("value:Q", title="Read", format=places),
                alt.Tooltip("reference:Q", title="Level", format=places),
                alt.Tooltip("verdict:N", title="Verdict"),
            ],
        )
    )  # fmt: skip
    sigma = control["sigma"].dropna().head(1)
    limits = pd.DataFrame(
        [(name, sign * times * one) for name, times in LIMITS for one in sigma for sign in (-1, 1)],
        columns=["limit", "deviation"],
    )
    dashes = alt.Scale(domain=[name for name, _ in LIMITS], range=[[7, 4], [1, 0]])
    lines = alt.Chart(limits).mark_rule(color=style.MUTED, strokeWidth=1.4).encode(
        y,
        alt.StrokeDash("limit:N", scale=dashes, legend=style.legend(symbolSize=500)),
    )  # fmt: skip
    zero = alt.Chart(pd.DataFrame({"deviation": [0.0]})).mark_rule(color=style.GRID, strokeWidth=2)
    layers = [zero.encode(y), *([lines] if len(limits) else []), points]
    return style.finish(alt.layer(*layers), description=description, height=300)
