"""Differences to the control with their intervals, one row a formulation and site."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style
from aging.vocabulary import Property

OVER_SITES = "mean over sites"


def difference_chart(
    differences: pd.DataFrame, prop: Property, *, description: str, worthwhile: float = 0.0
) -> Any:
    """Forest of intervals against the line of a worthwhile difference.

    differences: rows of a comparison at one month and one target (site, formulation, estimate,
    lower, upper); the site "all" is drawn first and heaviest. Formulations are ordered by the
    difference over all sites, best on top. worthwhile: in the property's unit.
    """
    rows = differences.dropna(subset=["estimate"]).copy()
    overall = rows["site"] == "all"
    rows["site"] = rows["site"].where(~overall, OVER_SITES)
    sites = [s for s in (OVER_SITES, *sorted(rows.loc[~overall, "site"].unique()))
             if s in set(rows["site"])]  # fmt: skip
    best_first = prop.higher_is_better is not False
    ranked = rows[rows["site"] == sites[0]] if sites else rows
    order = ranked.sort_values("estimate", ascending=not best_first)["formulation"].tolist()
    order += [f for f in rows["formulation"].unique() if f not in order]
    base = alt.Chart(rows).encode(
        alt.Y("formulation:N", sort=order, title=None, axis=alt.Axis(grid=True, tickBand="extent")),
        alt.YOffset("site:N", sort=sites, scale=alt.Scale(paddingOuter=0.6)),
        alt.Color(
            "site:N", legend=style.legend(),
            scale=alt.Scale(domain=sites, range=style.cycle(sites, style.PALETTE)),
        ),
    )  # fmt: skip
    places = f".{prop.decimals}f"
    heavy = alt.datum.site == OVER_SITES
    axis = alt.Axis(
        format=f"+.{min(prop.decimals, 2)}f", tickCount=8, labelOverlap=True, labelSeparation=8
    )
    intervals = base.mark_rule().encode(
        alt.X("lower:Q", title=_title(prop), axis=axis, scale=alt.Scale(padding=16)),
        alt.X2("upper:Q"),
        strokeWidth=alt.condition(heavy, alt.value(3.5), alt.value(1.5)),
    )
    points = base.mark_point(filled=True, opacity=1).encode(
        alt.X("estimate:Q"),
        size=alt.condition(heavy, alt.value(150), alt.value(60)),
        shape=alt.Shape(
            "site:N", legend=style.legend(),
            scale=alt.Scale(domain=sites, range=style.cycle(sites, style.SHAPES)),
        ),
        tooltip=[
            alt.Tooltip("formulation:N", title="Formulation"),
            alt.Tooltip("site:N", title="Site"),
            alt.Tooltip("estimate:Q", title="Difference", format=f"+{places}"),
            alt.Tooltip("lower:Q", title="From", format=f"+{places}"),
            alt.Tooltip("upper:Q", title="To", format=f"+{places}"),
        ],
    )  # fmt: skip
    line = (
        alt.Chart(pd.DataFrame({"worthwhile": [worthwhile]}))
        .mark_rule(color=style.INK, strokeDash=[5, 3], strokeWidth=1.5)
        .encode(alt.X("worthwhile:Q"))
    )
    height = len(order) * (len(sites) * 13 + 18)
    return style.finish(
        alt.layer(line, intervals, points), description=description, height=max(height, 80)
    )


def _title(prop: Property) -> list[str]:
    side = {True: "right of the line: better", False: "left of the line: better", None: ""}
    titles = ["Formulation minus control", style.quantity(prop), side[prop.higher_is_better]]
    return [t for t in titles if t]
