"""Exposure and visits of each site along the calendar."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style


def visits_chart(spans: pd.DataFrame, visits: pd.DataFrame, *, description: str) -> Any:
    """A bar a site from the first exposure to the last day known, a tick a visit.

    spans: site, start, end. visits: site, on, panels (number read). Days as datetime64.
    """
    day = alt.Axis(
        title="Calendar day", format="%b %Y", labelOverlap=True, labelBound=True, tickCount=6
    )
    sites = spans["site"].unique().tolist()
    y = alt.Y("site:N", title=None, sort=sites)
    bars = (
        alt.Chart(spans)
        .mark_bar(color=style.WIDE_BAND, height=18)
        .encode(alt.X("start:T", axis=day), alt.X2("end:T"), y)
    )
    ticks = (
        alt.Chart(visits)
        .mark_tick(color=style.PALETTE[0], thickness=2, size=18, opacity=1)
        .encode(
            alt.X("on:T"),
            y,
            tooltip=[
                alt.Tooltip("site:N", title="Site"),
                alt.Tooltip("on:T", title="Visit", format="%Y-%m-%d"),
                alt.Tooltip("panels:Q", title="Panels read"),
            ],
        )
    )
    height = max(34 * len(sites), 60)
    return style.finish(alt.layer(bars, ticks), description=description, height=height)
