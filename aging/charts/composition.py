"""What additives do: means by dose of two of them, and the gain along one."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style
from aging.vocabulary import additive_title, dose_words

BEYOND, NOT_EXPOSED = 0.15, "not exposed"
ENDS = {"estimate": "Mean over sites", "lower": "From", "upper": "To"}


def interaction_chart(
    cells: pd.DataFrame, *, x: str, lines: str, title: str, decimals: int, description: str
) -> Any:
    """Means with intervals over the doses of `x`, a line a dose of `lines`; parallel is no synergy.

    cells: the two additives' doses, estimate, lower, upper; x and lines: columns and their words.
    """
    doses = sorted(cells[lines].unique())
    words = [dose_words(lines, dose) for dose in doses]
    rows = cells.assign(line=cells[lines].map(dict(zip(doses, words, strict=True))))
    span = rows[x].max() - rows[x].min()
    shift = {word: (place - (len(words) - 1) / 2) * span / 60 for place, word in enumerate(words)}
    rows["dose"] = rows[x] + rows["line"].map(shift)
    base = alt.Chart(rows).encode(
        alt.X(
            "dose:Q", title=additive_title(x),
            scale=alt.Scale(nice=False, padding=18),
            axis=alt.Axis(values=sorted(rows[x].unique()), labelExpr="datum.value", grid=False),
        ),
        alt.Color(
            "line:N", legend=style.legend(symbolSize=300),
            scale=alt.Scale(domain=words, range=style.cycle(words, style.PALETTE)),
        ),
    )  # fmt: skip
    y = alt.Y("estimate:Q", title=title, scale=alt.Scale(zero=False))
    shape = alt.Shape(
        "line:N", legend=style.legend(),
        scale=alt.Scale(domain=words, range=style.cycle(words, style.SHAPES)),
    )  # fmt: skip
    numbers = [
        alt.Tooltip(f"{name}:Q", title=word, format=f".{decimals}f") for name, word in ENDS.items()
    ]
    told = [
        alt.Tooltip(f"{x}:Q", title=additive_title(x)),
        alt.Tooltip("line:N", title="Beside"),
        *numbers,
    ]
    ends = base.mark_rule(strokeWidth=2).encode(alt.Y("lower:Q"), alt.Y2("upper:Q"))
    path = base.mark_line(strokeWidth=1.5).encode(y)
    point = base.mark_point(filled=True, opacity=1, size=110).encode(y, shape, tooltip=told)
    return style.finish(alt.layer(ends, path, point), description=description, height=320)


def dose_chart(
    curve: pd.DataFrame, *, additive: str, title: str, levels_off: float, description: str
) -> Any:
    """The gain along a dose with its band, ticks at exposed doses, grey where nothing was exposed.

    curve: dose, estimate, lower, upper, exposed; levels_off: dose that is marked.
    """
    low, high = float(curve["dose"].min()), float(curve["dose"].max())
    beyond = high + BEYOND * (high - low)
    grey = pd.DataFrame({"start": [high], "end": [beyond], "text": [NOT_EXPOSED]})
    x = alt.X(
        "dose:Q", title=additive_title(additive), scale=alt.Scale(domain=[low, beyond], nice=False)
    )
    base = alt.Chart(curve).encode(x)
    scale = alt.Scale(zero=False)
    band = base.mark_area(color=style.BAND).encode(
        alt.Y("lower:Q", scale=scale, title=title), alt.Y2("upper:Q")
    )
    line = base.mark_line(color=style.PALETTE[0], strokeWidth=2.5).encode(
        alt.Y("estimate:Q", scale=scale, title=title)
    )
    seen = (
        alt.Chart(curve[curve["exposed"]])
        .mark_point(shape="diamond", filled=True, opacity=1, size=110, color=style.INK)
        .encode(x, alt.Y("estimate:Q", scale=scale))
    )
    area = alt.Chart(grey).mark_rect(color=style.GRID).encode(
        alt.X("start:Q", scale=alt.Scale(domain=[low, beyond], nice=False)), alt.X2("end:Q")
    )  # fmt: skip
    word = (
        alt.Chart(grey)
        .mark_text(angle=270, color=style.MUTED, fontSize=13)
        .encode(alt.X("middle:Q"), alt.Text("text:N"))
        .transform_calculate(middle="(datum.start + datum.end) / 2")
    )
    off = (
        alt.Chart(pd.DataFrame({"dose": [levels_off]}))
        .mark_rule(color=style.INK, strokeDash=[5, 3], strokeWidth=1.5)
        .encode(alt.X("dose:Q"))
    )
    return style.finish(
        alt.layer(area, band, line, off, seen, word), description=description, height=300
    )
