"""The decay of one formulation at one site: readings, curve, and bands that differ in kind.

The widest band is the interval of a later visit's reading, the others are of the mean it reads. The
curve is solid over the months that were observed and dashed where it projects; readings that the
projection did not know are hollow.
"""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style
from aging.vocabulary import DAYS_PER_MONTH, Property

OBSERVED, PROJECTED = "Mean, observed months", "Mean, projected"


def decay_chart(
    curve: pd.DataFrame,
    readings: pd.DataFrame,
    prop: Property,
    *,
    at: float,
    description: str,
    claimed: float | None = None,
) -> Any:
    """Chart of one series.

    curve: rows of projections for one site and formulation (months, target, estimate, lower,
    upper, level, observed_months), at one level or several; rows without an estimate draw nothing.
    readings: months, value, panel, read_on, known (whether the projection knew it), series (what
    has one colour and shape), mark (what the legend calls the known or later ones of a series).
    at: the month whose mean is marked and written out, of those in `curve`. claimed: a value drawn
    as a threshold.
    """
    curve = curve.dropna(subset=["estimate", "lower", "upper"])
    x = alt.X(
        "months:Q",
        title=f"Months exposed (a month is {DAYS_PER_MONTH} days)",
        scale=alt.Scale(nice=False, domainMin=0),
        axis=alt.Axis(values=list(range(0, 241, 6)), format="d"),
    )
    axis = alt.Axis(title=style.quantity(prop), format=f".{min(prop.decimals, 2)}f")
    y = alt.Y("value:Q", scale=alt.Scale(zero=False), axis=axis)
    widest = curve[curve["level"] == curve["level"].max()]
    layers = [_readings(readings, x, y, prop)]
    if len(curve):
        layers = [_bands(curve, x, axis), *_means(widest, x, axis), *layers]
        layers += _value(widest[(widest["months"] == at) & (widest["target"] == "state")], prop)
    if claimed is not None:
        layers += _claimed(claimed, prop)
    apart = ("fill", "stroke", "shape", "strokeDash")
    return style.layered(layers, description=description, height=400, apart=apart)


def _bands(curve: pd.DataFrame, x: alt.X, axis: alt.Axis) -> Any:
    levels = sorted(curve["level"].unique(), reverse=True)
    drawn = [("reading", levels[0], "A visit's reading of it")]
    drawn += [("state", level, "The mean") for level in levels]
    bands = {f"{name}, {100 * level:g} % interval": (target, level)
             for target, level, name in drawn}  # fmt: skip
    rows = pd.concat(
        [
            curve[(curve["target"] == target) & (curve["level"] == level)].assign(band=band)
            for band, (target, level) in bands.items()
        ]
    )
    colours = [style.WIDE_BAND, style.BAND, *[style.INNER_BAND] * (len(levels) - 1)]
    scale = alt.Scale(domain=list(bands), range=colours)
    return (
        alt.Chart(rows[["months", "lower", "upper", "band"]])
        .mark_area()
        .encode(
            x,
            alt.Y("lower:Q", scale=alt.Scale(zero=False), axis=axis),
            alt.Y2("upper:Q"),
            alt.Fill("band:N", scale=scale, legend=style.legend(symbolType="square")),
        )
    )


def _means(curve: pd.DataFrame, x: alt.X, axis: alt.Axis) -> list[Any]:
    means = curve[curve["target"] == "state"].sort_values("months")
    last = float(means["observed_months"].max())
    seen, ahead = means[means["months"] <= last], means[means["months"] >= last]
    joint = seen.tail(1)
    parts = pd.concat(
        [seen.assign(part=OBSERVED), pd.concat([joint, ahead]).assign(part=PROJECTED)]
    )
    dash = alt.Scale(domain=[OBSERVED, PROJECTED], range=[[1, 0], [7, 4]])
    line = (
        alt.Chart(parts[["months", "estimate", "part"]])
        .mark_line(color=style.PALETTE[0], strokeWidth=2.5)
        .encode(
            x,
            alt.Y("estimate:Q", axis=axis),
            alt.StrokeDash("part:N", scale=dash, legend=style.legend(symbolSize=500)),
        )
    )
    if not 0 < last < means["months"].max():
        return [line]
    mark = pd.DataFrame({"months": [last], "text": ["observed to here"]})
    rule = alt.Chart(mark).mark_rule(color=style.MUTED, strokeDash=[2, 3]).encode(x)
    text = (
        alt.Chart(mark)
        .mark_text(align="right", baseline="top", dx=-4, dy=2, color=style.MUTED, fontSize=12)
        .encode(x, alt.Y(value=0), alt.Text("text:N"))
    )
    return [line, rule, text]


def _readings(readings: pd.DataFrame, x: alt.X, y: alt.Y, prop: Property) -> Any:
    marks = readings.drop_duplicates("mark")[["mark", "series", "known"]]
    series = list(dict.fromkeys(readings["series"]))
    colour = dict(zip(series, style.cycle(series, (style.INK, *style.PALETTE[1:])), strict=True))
    shape = dict(
        zip(series, style.cycle(series, ("circle", "diamond", *style.SHAPES[2:])), strict=True)
    )
    names, colours = list(marks["mark"]), [colour[one] for one in marks["series"]]
    fills = [colour[one] if known else "transparent"
             for one, known in zip(marks["series"], marks["known"], strict=True)]  # fmt: skip
    shapes = [shape[one] for one in marks["series"]]
    legend = style.legend()
    return (
        alt.Chart(readings[["months", "value", "mark", "panel", "read_on"]])
        .mark_point(size=38, strokeWidth=1.4, filled=False)
        .encode(
            x,
            y,
            alt.Stroke("mark:N", scale=alt.Scale(domain=names, range=colours), legend=legend),
            alt.Fill("mark:N", scale=alt.Scale(domain=names, range=fills), legend=legend),
            alt.Shape("mark:N", scale=alt.Scale(domain=names, range=shapes), legend=legend),
            tooltip=[
                alt.Tooltip("panel:N", title="Panel"),
                alt.Tooltip("read_on:N", title="Read on"),
                alt.Tooltip("value:Q", title="Measured", format=f".{prop.decimals}f"),
            ],
        )
    )


def _value(rows: pd.DataFrame, prop: Property) -> list[Any]:
    drawn = rows[["months", "estimate", "lower", "upper", "level"]]
    base = alt.Chart(drawn).encode(alt.X("months:Q"))
    return [
        base.mark_rule(color=style.PALETTE[0], strokeWidth=2).encode(
            alt.Y("lower:Q"), alt.Y2("upper:Q")
        ),
        base.mark_point(
            shape="diamond", size=130, filled=True, color=style.PALETTE[0], opacity=1
        ).encode(alt.Y("estimate:Q")),
        base.mark_text(
            align="right", baseline="bottom", dy=-5, fontSize=15, fontWeight="bold", color=style.INK
        ).encode(alt.Y("upper:Q"), alt.Text("estimate:Q", format=f".{prop.decimals}f")),
    ]


def _claimed(value: float, prop: Property) -> list[Any]:
    rows = pd.DataFrame({"value": [value], "text": [f"claimed {value:.{min(prop.decimals, 2)}f}"]})
    base = alt.Chart(rows).encode(alt.Y("value:Q"))
    return [
        base.mark_rule(color=style.PALETTE[1], strokeWidth=2, strokeDash=style.DASHES[3]),
        base.mark_text(
            align="left", baseline="bottom", dx=4, dy=-4, fontSize=13, fontWeight="bold",
            color=style.PALETTE[1],
        ).encode(alt.X(value=0), alt.Text("text:N")),
    ]  # fmt: skip
