"""How forecasts did by cut: share of intervals that held, and mean absolute error."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style
from aging.vocabulary import Property

CUT_TITLE = "Months of readings known to the forecast"


def coverage_chart(board: pd.DataFrame, level: float, *, description: str) -> Any:
    """Share of intervals that held, with its interval, against the promised level.

    board: cut, forecaster, coverage, coverage_lower, coverage_upper, n_series; forecasters in the
    order of their colours.
    """
    rows = board.dropna(subset=["coverage"])
    base, mark = _by_cut(rows)
    scale = alt.Scale(domain=[0, 1])
    title = f"Share that held (dashes: {100 * level:g} % promised)"
    axis = alt.Axis(title=title, format="%", values=[0, 0.25, 0.5, 0.75, 1])
    ranges = base.mark_rule(strokeWidth=2).encode(
        alt.Y("coverage_lower:Q", scale=scale, axis=axis), alt.Y2("coverage_upper:Q")
    )
    points = base.mark_point(filled=True, size=90, opacity=1).encode(
        alt.Y("coverage:Q", scale=scale, axis=axis),
        mark,
        tooltip=[
            alt.Tooltip("forecaster:N", title="Forecaster"),
            alt.Tooltip("coverage:Q", title="Held", format=".0%"),
            alt.Tooltip("coverage_lower:Q", title="From", format=".0%"),
            alt.Tooltip("coverage_upper:Q", title="To", format=".0%"),
            alt.Tooltip("n_series:Q", title="Series"),
        ],
    )
    line = alt.Chart(pd.DataFrame({"level": [level]}))
    rule = line.mark_rule(color=style.INK, strokeDash=[5, 3], strokeWidth=1.5).encode(
        alt.Y("level:Q", scale=scale, axis=axis)
    )
    return style.finish(alt.layer(rule, ranges, points), description=description, height=300)


def error_chart(board: pd.DataFrame, prop: Property, *, description: str) -> Any:
    """Mean absolute error of each forecaster; board: cut, forecaster, abs_error."""
    rows = board.dropna(subset=["abs_error"])
    base, mark = _by_cut(rows)
    title = f"Mean absolute error, {style.UNIT_WORDS.get(prop.unit, prop.unit)}"
    y = alt.Y(
        "abs_error:Q", scale=alt.Scale(domainMin=0),
        axis=alt.Axis(title=title, format=f".{min(prop.decimals, 2)}f", tickCount=6),
    )  # fmt: skip
    stems = base.mark_rule(strokeWidth=2).encode(y, alt.Y2(datum=0))
    points = base.mark_point(filled=True, size=90, opacity=1).encode(
        y,
        mark,
        tooltip=[
            alt.Tooltip("forecaster:N", title="Forecaster"),
            alt.Tooltip("abs_error:Q", title="Error", format=f".{prop.decimals}f"),
        ],
    )
    return style.finish(alt.layer(stems, points), description=description, height=260)


def _by_cut(rows: pd.DataFrame) -> tuple[Any, alt.Shape]:
    """Forecasters side by side at each cut; colour, and the shape that goes with it."""
    names = list(dict.fromkeys(rows["forecaster"]))
    x = alt.X(
        "cut:O", title=CUT_TITLE, axis=alt.Axis(labelAngle=0, format="d"),
        scale=alt.Scale(paddingInner=0.3, paddingOuter=0.2),
    )  # fmt: skip
    colours = alt.Scale(domain=names, range=style.cycle(names, style.PALETTE))
    shapes = alt.Scale(domain=names, range=style.cycle(names, style.SHAPES))
    base = alt.Chart(rows).encode(
        x,
        alt.XOffset("forecaster:N", sort=names, scale=alt.Scale(paddingOuter=0.5)),
        alt.Color("forecaster:N", scale=colours, legend=style.legend()),
    )
    return base, alt.Shape("forecaster:N", scale=shapes, legend=style.legend())
