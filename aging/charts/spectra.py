"""Spectra of one panel over the sun's, and what each band brings to the loss."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from aging.charts import style
from aging.optics.solar import BANDS, RANGE_NM

SUN = "#efe2bf"
NARROW = "UV"  # its band has no room for the word, and none for the letters on a phone


def spectra_chart(
    spectra: pd.DataFrame, sun: pd.DataFrame, *, weighting: str, description: str
) -> Any:
    """Reflectance against wavelength over the shaded sun, which has the axis on the right.

    spectra: spectrum, when (has the colour), state (has the dash), wavelength_nm, reflectance.
    sun: wavelength_nm, irradiance in W/m2/nm.
    """
    x = alt.X(
        "wavelength_nm:Q", title="Wavelength, nm", scale=alt.Scale(domain=RANGE_NM, nice=False),
        axis=alt.Axis(values=[300, *range(500, 2501, 500)], format="d", grid=False),
    )  # fmt: skip
    high = max(1.0, float(spectra["reflectance"].max()))
    y = alt.Y(
        "reflectance:Q", title="Reflectance, fraction", scale=alt.Scale(domain=[0, high]),
        axis=alt.Axis(format=".1f", tickCount=6),
    )  # fmt: skip
    light = alt.Axis(
        title=f"Shaded: {weighting}, W/m²/nm", orient="right", format=".1f", tickCount=4, grid=False
    )
    whens, states = (list(dict.fromkeys(spectra[name])) for name in ("when", "state"))
    lines = (
        alt.Chart(spectra)
        .mark_line(strokeWidth=2)
        .encode(
            x, y,
            alt.Detail("spectrum:N"),
            alt.Color(
                "when:N", legend=style.legend(symbolType="stroke", symbolStrokeWidth=3),
                scale=alt.Scale(domain=whens, range=style.cycle(whens, style.PALETTE)),
            ),
            alt.StrokeDash(
                "state:N", legend=style.legend(symbolSize=500, symbolStrokeColor=style.INK),
                scale=alt.Scale(domain=states, range=style.cycle(states, style.DASHES)),
            ),
        )
    )  # fmt: skip
    area = alt.Chart(sun).mark_area(color=SUN).encode(x, alt.Y("irradiance:Q", axis=light))
    seen = alt.layer(*_bands(x), lines)
    chart = alt.layer(area, seen).resolve_scale(y="independent")
    return style.finish(chart, description=description, height=400)


def _bands(x: alt.X) -> list[Any]:
    rows = pd.DataFrame(
        [(name, low, (low + high) / 2) for name, low, high in BANDS],
        columns=["band", "low", "wavelength_nm"],
    ).replace({"band": {"ultraviolet": NARROW}})
    rules = alt.Chart(rows[1:]).mark_rule(color=style.MUTED, strokeDash=[2, 3])
    name: Any = alt.expr(f"width < 420 && datum.band == '{NARROW}' ? '' : datum.band")
    text = alt.Chart(rows).mark_text(
        text=name, baseline="top", dy=2, fontSize=12, color=style.MUTED
    )
    return [rules.encode(alt.X("low:Q")), text.encode(x, alt.Y(value=0))]


def band_loss_chart(lost: pd.DataFrame, *, description: str) -> Any:
    """What each band brings to the loss of solar reflectance; lost: band, loss (fraction)."""
    least, most = lost["loss"].min(), lost["loss"].max()
    ends = [1.25 * min(least, 0), 1.25 * max(most, 0.001)]  # room for the figures
    base = alt.Chart(lost).encode(
        alt.X(
            "loss:Q", title="Part of the loss of solar reflectance, fraction",
            axis=alt.Axis(format=".2f", tickCount=5), scale=alt.Scale(domain=ends, nice=False),
        ),
        alt.Y("band:N", sort=lost["band"].tolist(), title=None),
    )  # fmt: skip
    side: Any = alt.expr("datum.loss < 0 ? 'right' : 'left'")
    away: Any = alt.expr("datum.loss < 0 ? -5 : 5")
    text = base.mark_text(align=side, dx=away, fontSize=13, color=style.INK)
    return style.finish(
        alt.layer(
            base.mark_bar(height=22, color=style.PALETTE[0]),
            text.encode(alt.Text("loss:Q", format=".3f")),
        ),
        description=description, height=110,
    )  # fmt: skip
