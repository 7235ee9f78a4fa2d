"""What an interval's width is made of: one stacked bar an interval."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style


def width_chart(shares: pd.DataFrame, *, description: str) -> Any:
    """Bars of shares from 0 to 1; one below 0 stands left of the line.

    shares: interval (name of the bar), source, share; bars and sources in the order of the rows.
    """
    intervals = list(dict.fromkeys(shares["interval"]))
    sources = list(dict.fromkeys(shares["source"]))
    rows = shares.assign(place=shares["source"].map(sources.index))
    sides = rows.groupby(["interval", rows["share"] < 0])["share"].sum().round(2)
    reach = alt.Scale(domain=[min(sides.min(), 0), max(sides.max(), 1)], nice=False)
    bars = (
        alt.Chart(rows)
        .mark_bar(height=26, stroke=style.PAGE, strokeWidth=1.5)
        .encode(
            alt.X(
                "share:Q", stack="zero", title="Share of the interval's variance",
                axis=alt.Axis(format="%", values=[0, 0.2, 0.4, 0.6, 0.8, 1]), scale=reach,
            ),
            alt.Y("interval:N", sort=intervals, title=None),
            alt.Color(
                "source:N", legend=style.legend(symbolType="square"),
                scale=alt.Scale(domain=sources, range=style.cycle(sources, style.PALETTE)),
            ),
            alt.Order("place:Q"),
            tooltip=[
                alt.Tooltip("source:N", title="From"),
                alt.Tooltip("share:Q", title="Share", format=".0%"),
            ],
        )
    )  # fmt: skip
    return style.finish(bars, description=description, height=46 * len(intervals))
