"""Ratings as they were given: a cell a formulation and visit, a block a panel, never a mean.

Shades run from light, the best, to dark, the worst of the scale, so that they keep their order
in every kind of sight and in print; the number stands beside the shade.
"""

from __future__ import annotations

from typing import Any

import altair as alt
import numpy as np
import pandas as pd

from aging.charts import style
from aging.vocabulary import Property

BEST_TO_WORST = ("#dcebeb", "#57a0a8", "#0b6474", "#08222b")
DARK_FROM = 0.5  # of the way to the worst: light figures beyond
ROW = 38


def shades(prop: Property) -> dict[float, str]:
    """A shade for each step of the scale, the best first."""
    levels = np.arange(prop.low, prop.high + prop.step / 2, prop.step)
    levels = levels[::-1] if prop.higher_is_better else levels
    stops = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in BEST_TO_WORST])
    at, known = np.linspace(0, 1, levels.size), np.linspace(0, 1, len(stops))
    mixed = np.rint([np.interp(at, known, channel) for channel in stops.T]).astype(int).T
    return {float(level): "#" + bytes(map(int, rgb)).hex()
            for level, rgb in zip(levels, mixed, strict=True)}  # fmt: skip


def figure_colours(prop: Property) -> dict[float, str]:
    """What a figure is written in on each shade."""
    steps = list(shades(prop))
    dark = DARK_FROM * (len(steps) - 1)
    return {step: "#ffffff" if i > dark else "#000000" for i, step in enumerate(steps)}


def rating_strip_chart(
    cells: pd.DataFrame, panels: pd.DataFrame, prop: Property, *, description: str
) -> Any:
    """Medians on the native scale, and below each the panels it is the middle of, best first.

    cells: formulation, months, median, best, worst, panels; rows from top to bottom in their order.
    panels: formulation, months, panel, value, place (0 the best of its cell).
    """
    names = list(dict.fromkeys(cells["formulation"]))
    known = shades(prop)
    domain = [f"{step:g}" for step in known]
    colours = alt.Scale(domain=domain, range=list(known.values()))
    columns: Any = alt.ExprRef("width < 420 ? 6 : 11")
    legend = alt.Legend(
        title="Rating, from none to the worst of the scale", titleFontWeight="normal",
        titleFontSize=13, titleLimit=330, columns=columns, symbolType="square",
        direction="horizontal",
    )  # fmt: skip
    x = alt.X(
        "months:O", title="Months exposed at the visit", scale=alt.Scale(padding=0.06),
        axis=alt.Axis(labelAngle=0, labelOverlap=True, format=".1f"),
    )  # fmt: skip
    y = alt.Y("formulation:N", sort=names, title=None, scale=alt.Scale(padding=0.1))
    cells, panels = (
        rows.assign(rating=rows[of].map("{:g}".format))
        for rows, of in ((cells, "median"), (panels, "value"))
    )
    base = alt.Chart(cells.assign(ink=cells["median"].map(figure_colours(prop)))).encode(x, y)
    medians = base.mark_rect(stroke=style.GRID).encode(
        alt.Color("rating:N", scale=colours, legend=legend),
        tooltip=[
            alt.Tooltip("formulation:N", title="Formulation"),
            alt.Tooltip("median:Q", title="Median"),
            alt.Tooltip("best:Q", title="Best"),
            alt.Tooltip("worst:Q", title="Worst"),
            alt.Tooltip("panels:Q", title="Panels"),
        ],
    )
    figures = base.mark_text(dy=-6, fontSize=14, fontWeight="bold").encode(
        alt.Text("rating:N"), alt.Color("ink:N", scale=None)
    )
    blocks = (
        alt.Chart(panels)
        .mark_rect(height=8, yOffset=10, stroke=style.PAGE, strokeWidth=1.2)
        .encode(
            x, y,
            alt.XOffset("place:O", scale=alt.Scale(paddingOuter=0.3)),
            alt.Color("rating:N", scale=colours, legend=legend),
            tooltip=[
                alt.Tooltip("panel:N", title="Panel"), alt.Tooltip("value:Q", title="Rating"),
            ],
        )
    )  # fmt: skip
    return style.finish(
        alt.layer(medians, blocks, figures), description=description, height=ROW * len(names)
    )
