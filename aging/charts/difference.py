"""Differences with their intervals, one row a formulation or part and site."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style
from aging.vocabulary import Property

OVER_SITES = "mean over sites"
FAILS = "{name}: fails"
HOW_DRAWN = "thick: interval of each; thin: all of a site at once"


def difference_chart(
    differences: pd.DataFrame,
    prop: Property,
    *,
    description: str,
    worthwhile: float = 0.0,
    failing: Collection[str] = (),
) -> Any:
    """Forest of intervals against 0 and the line of a worthwhile difference.

    differences: rows of a comparison at one month and one target (site, formulation, estimate,
    lower, upper, and joint_lower, joint_upper where there are); the site "all" is drawn first and
    heaviest. Formulations are ordered by the difference over all sites, best on top, those that
    are `failing` after them. worthwhile: in the property's unit, on the better side.
    """
    rows = differences.dropna(subset=["estimate"])
    best_first = prop.higher_is_better is not False
    ranked = rows[rows["site"] == "all"] if (rows["site"] == "all").any() else rows
    order = ranked.sort_values("estimate", ascending=not best_first)["formulation"].tolist()
    order = list(dict.fromkeys([*order, *rows["formulation"]]))
    order.sort(key=lambda name: name in failing)
    shown = {name: FAILS.format(name=name) if name in failing else name for name in order}
    rows = rows.assign(name=rows["formulation"].map(shown))
    lines = [0.0, worthwhile if best_first else -worthwhile]
    side = {True: "better: to the right", False: "better: to the left", None: ""}
    dashed = f"dashed: worthwhile, {lines[1]:+.{prop.decimals}f}" if worthwhile else ""
    drawn = HOW_DRAWN if "joint_lower" in rows else ""
    title = [
        "Formulation minus control",
        style.quantity(prop),
        side[prop.higher_is_better],
        dashed,
        drawn,
    ]
    return _forest(
        rows, prop, list(shown.values()), title=title, lines=lines, description=description
    )


def origins_chart(
    parts: pd.DataFrame, prop: Property, *, order: Sequence[str], description: str
) -> Any:
    """Forest of the parts of one difference (site, name, estimate, lower, upper), in `order`."""
    title = ["Part of the difference to the control", style.quantity(prop)]
    return _forest(parts, prop, list(order), title=title, lines=[0.0], description=description)


def _forest(
    rows: pd.DataFrame, prop: Property, order: list[str], *,
    title: list[str], lines: list[float], description: str,
) -> Any:  # fmt: skip
    overall = rows["site"] == "all"
    rows = rows.assign(site=rows["site"].where(~overall, OVER_SITES))
    sites = [s for s in (OVER_SITES, *sorted(rows.loc[~overall, "site"].unique()))
             if s in set(rows["site"])]  # fmt: skip
    base = alt.Chart(rows).encode(
        alt.Y("name:N", sort=order, title=None, axis=alt.Axis(grid=True, tickBand="extent")),
        alt.YOffset("site:N", sort=sites, scale=alt.Scale(paddingOuter=0.6)),
        alt.Color(
            "site:N", legend=style.legend(),
            scale=alt.Scale(domain=sites, range=style.cycle(sites, style.PALETTE)),
        ),
    )  # fmt: skip
    heavy = alt.datum.site == OVER_SITES
    axis = alt.Axis(
        format=f"+.{min(prop.decimals, 2)}f", tickCount=8, labelOverlap=True, labelSeparation=8
    )
    x = alt.X("lower:Q", title=[t for t in title if t], axis=axis, scale=alt.Scale(padding=16))
    intervals = base.mark_rule().encode(
        x, alt.X2("upper:Q"), strokeWidth=alt.condition(heavy, alt.value(4.5), alt.value(2.5))
    )
    told = {"estimate": "Difference", "lower": "From", "upper": "To",
            "joint_lower": "All at once, from", "joint_upper": "All at once, to"}  # fmt: skip
    points = base.mark_point(filled=True, opacity=1).encode(
        alt.X("estimate:Q"),
        size=alt.condition(heavy, alt.value(150), alt.value(60)),
        shape=alt.Shape(
            "site:N", legend=style.legend(),
            scale=alt.Scale(domain=sites, range=style.cycle(sites, style.SHAPES)),
        ),
        tooltip=[
            alt.Tooltip("name:N", title="Name"),
            alt.Tooltip("site:N", title="Site"),
            *(alt.Tooltip(f"{name}:Q", title=word, format=f"+.{prop.decimals}f")
              for name, word in told.items() if name in rows),
        ],
    )  # fmt: skip
    marks = pd.DataFrame({"at": lines}).drop_duplicates().assign(zero=lambda one: one["at"] == 0)
    rule = (
        alt.Chart(marks)
        .mark_rule(color=style.INK, strokeWidth=1.5)
        .encode(
            alt.X("at:Q"),
            strokeDash=alt.condition("datum.zero", alt.value([1, 0]), alt.value([5, 3])),
        )
    )
    layers = [rule, intervals, points]
    if "joint_lower" in rows:
        layers.insert(1, base.mark_rule(strokeWidth=1).encode(
            alt.X("joint_lower:Q"), alt.X2("joint_upper:Q")
        ))  # fmt: skip
        layers[2:2] = [base.mark_tick(thickness=1, size=7).encode(alt.X(f"{end}:Q"))
                       for end in ("joint_lower", "joint_upper")]  # fmt: skip
    height = len(order) * (len(sites) * 13 + 18)
    return style.finish(alt.layer(*layers), description=description, height=max(height, 80))
