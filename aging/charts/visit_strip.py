"""What a visit read: panels of each formulation beside each other, now and the time before."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style
from aging.vocabulary import Property

NOW, BEFORE, MEAN = "a panel at this visit", "mean at the visit before", "mean at this visit"
UPRIGHT, LABEL_LIMIT = "M0,-1L0,1", 150


def visit_strip_chart(
    readings: pd.DataFrame, means: pd.DataFrame, prop: Property, *, description: str
) -> Any:
    """A row a formulation, the highest mean first.

    readings: formulation, panel, value. means: formulation, mean, last_mean (NaN where none).
    """
    order = means.sort_values("mean", ascending=False)["formulation"].tolist()
    y = alt.Y("formulation:N", sort=order, title=None, axis=alt.Axis(labelLimit=LABEL_LIMIT))
    axis = alt.Axis(title=style.quantity(prop), format=f".{prop.decimals}f", tickCount=5)
    scale, legend = alt.Scale(zero=False, padding=12), style.legend()
    rows = pd.concat([
        readings.assign(mark=NOW),
        means.assign(mark=MEAN, value=means["mean"]),
        means.assign(mark=BEFORE, value=means["last_mean"]),
    ], ignore_index=True).dropna(subset="value")  # fmt: skip
    names = [NOW, MEAN, BEFORE]
    chart = alt.Chart(rows[["formulation", "value", "mark"]]).mark_point(strokeWidth=2).encode(
        alt.X("value:Q", axis=axis, scale=scale), y,
        alt.Shape("mark:N", legend=legend, scale=alt.Scale(
            domain=names, range=["circle", UPRIGHT, "diamond"])),
        alt.Stroke("mark:N", legend=legend, scale=alt.Scale(
            domain=names, range=[style.PALETTE[0], style.INK, style.PALETTE[1]])),
        alt.Size("mark:N", legend=legend, scale=alt.Scale(domain=names, range=[50, 160, 90])),
    )  # fmt: skip
    height = 26 * len(order) + 20
    return style.finish(chart, description=description, height=height)
