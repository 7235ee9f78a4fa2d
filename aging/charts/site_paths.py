"""A candidate beside its control at one site: two bands of the mean over the months."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style
from aging.vocabulary import Property


def site_paths_chart(
    paths: pd.DataFrame, prop: Property, *, order: list[str], span: tuple[float, float],
    description: str,
) -> Any:  # fmt: skip
    """Means with their bands; dashes tell formulations apart where colours do not.

    paths: formulation, months, estimate, lower, upper, observed_months. order: formulations, the
    candidate first. span: of the value axis, so that several sites compare.
    """
    colours = alt.Scale(domain=order, range=style.cycle(order, style.PALETTE))
    base = alt.Chart(paths).encode(
        alt.X(
            "months:Q", title="Months exposed", scale=alt.Scale(nice=False, domainMin=0),
            axis=alt.Axis(values=list(range(0, 241, 12)), format="d"),
        ),
    )  # fmt: skip
    axis = alt.Axis(title=style.quantity(prop), format=f".{min(prop.decimals, 2)}f", tickCount=5)
    scale = alt.Scale(domain=list(span), nice=False)
    legend = style.legend(symbolType="stroke", symbolSize=500, symbolOpacity=1)
    colour = alt.Color("formulation:N", scale=colours, legend=legend)
    band = base.mark_area(opacity=0.28).encode(
        alt.Y("lower:Q", scale=scale, axis=axis), alt.Y2("upper:Q"),
        colour,
    )  # fmt: skip
    line = base.mark_line(strokeWidth=2.5).encode(
        alt.Y("estimate:Q", scale=scale, axis=axis), colour,
        alt.StrokeDash(
            "formulation:N", legend=legend,
            scale=alt.Scale(domain=order, range=style.cycle(order, style.DASHES)),
        ),
    )  # fmt: skip
    seen = pd.DataFrame({"months": [float(paths["observed_months"].max())]})
    rule = alt.Chart(seen).mark_rule(color=style.MUTED, strokeDash=[2, 3]).encode(alt.X("months:Q"))
    return style.finish(alt.layer(band, rule, line), description=description, height=230)
