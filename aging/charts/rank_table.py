"""The chance of each rank: a table of cells, darker where likelier, with the number in it."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style

SHOWN = 0.01


def rank_chart(ranks: pd.DataFrame, *, description: str) -> Any:
    """Cells of formulation and rank, best on top; chances in per cent, below 1 % left empty.

    ranks: formulation, rank, probability.
    """
    mean = (ranks["rank"] * ranks["probability"]).groupby(ranks["formulation"]).sum()
    order = mean.sort_values().index.tolist()
    rows = ranks.assign(
        shown=(100 * ranks["probability"])
        .map("{:.0f}".format)
        .where(ranks["probability"] >= SHOWN, "")
    )
    base = alt.Chart(rows).encode(
        alt.X("rank:O", title="Rank (1 is best); chance in %", axis=alt.Axis(labelAngle=0)),
        alt.Y("formulation:N", sort=order, title=None),
    )
    cells = base.mark_rect(stroke=style.PAGE).encode(
        alt.Color(
            "probability:Q", legend=None,
            scale=alt.Scale(domain=[0, 1], range=[style.PAGE, style.INNER_BAND]),
        ),
        tooltip=[
            alt.Tooltip("formulation:N", title="Formulation"), alt.Tooltip("rank:O", title="Rank"),
            alt.Tooltip("probability:Q", title="Chance", format=".0%"),
        ],
    )  # fmt: skip
    numbers = base.mark_text(fontSize=12, color=style.INK).encode(alt.Text("shown:N"))
    height = max(26 * len(order), 60)
    return style.finish(alt.layer(cells, numbers), description=description, height=height)
