"""What the page of a decay tells of one series, drawn once and sent again to whoever asks next.

A kept drawing stands under everything it follows from, the source's mark among it.
"""

from __future__ import annotations

from math import ceil
from threading import Lock

import pandas as pd
import streamlit as st

from aging.charts import decay_chart, quantity, width_chart
from aging.vocabulary import Property, property_named
from dashboard import data, parts, tables, wording

INNER = 0.5  # level of the inner band
TURN = Lock()


@st.cache_data(show_spinner=False, max_entries=256, hash_funcs={data.Opened: data.key_of})
def one_series(
    opened: data.Opened, name: str, months: int, level: float, *, site: str, formulation: str,
    as_of: str | None,
) -> None:  # fmt: skip
    """Headline, chart and numbers of a formulation at a site.

    By turns: of people who ask at once nobody waits as long as where all are reckoned side by side.
    """
    with TURN:
        _one_series(
            opened, name, months, level, site=site, formulation=formulation, as_of=as_of
        )  # fmt: skip


def _one_series(
    opened: data.Opened, name: str, months: int, level: float, *, site: str, formulation: str,
    as_of: str | None,
) -> None:  # fmt: skip
    prop = property_named(name)
    every = data.every_series(opened, name, months, level, as_of)
    value = tables.of(every, site, formulation).iloc[0]
    read = data.read_of(opened, name, site, formulation)
    last = max(months, ceil(read["months"].max()))
    steps = {*range(min(12, last)), *range(12, last, 2), months, last, value["observed_months"]}
    levels = (level, INNER)
    fan = data.course(opened, name, tuple(sorted(steps)), levels, (formulation,), as_of=as_of)
    fan = tables.of(fan, site, formulation)
    statement = wording.projection(value, prop, as_of)

    st.header(wording.headline(value, quantity(prop)))
    percent = wording.percent(level)
    parts.figures({
        wording.MEAN: wording.number(value["estimate"], prop),
        wording.BAND.format(level=percent): wording.interval(value, prop),
        wording.WIDE_BAND.format(level=percent): wording.interval(value, prop, "reading_"),
    })  # fmt: skip
    st.text(wording.status(value))
    if prop.derived_from:
        st.text(wording.MARKS_DERIVED)
    marks = tables.marks(read, site, as_of)
    parts.chart(decay_chart(fan, marks, prop, at=months, description=statement), statement)

    # people wait for the chart: what follows is reckoned after it
    if pd.notna(value["estimate"]):
        if prop.name == "solar_reflectance":
            _in_the_sun(data.heat(opened, months, level, formulation, as_of), site, months)
        st.header(wording.WIDTH_HEADING.format(months=months))
        _width(data.width(opened, name, months, formulation, as_of), prop, site)

    st.header(wording.NUMBERS_HEADING)
    curve = fan[fan["level"] == level]
    numbers = curve[(curve["months"] % 6 == 0) | (curve["months"] == months)]
    numbers = tables.wide(tables.told(numbers))
    of = wording.values(prop, wording.READ_OR_PROJECTED, level)
    parts.table(numbers, wording.CURVE_COLUMNS, of=of, decimals=prop.decimals, months="%d")


def _in_the_sun(heat: data.Heat, site: str, months: int) -> None:
    sun = heat.frame[heat.frame["site"] == site].set_index(["property", "months"])
    st.header(wording.HEAT_HEADING.format(months=months))
    parts.figures(wording.in_the_sun(sun, months))
    st.text(wording.heat(sun, heat.emittances[sun["formulation"].iloc[0]]))


def _width(width: data.Width, prop: Property, site: str) -> None:
    shares = tables.in_words(width.shares[width.shares["site"] == site])
    statement = wording.shares(shares)
    if prop.derived_from:
        st.text(wording.WIDTH_DERIVED)
    parts.chart(width_chart(shares, description=statement), statement)
    percents = shares.assign(percent=(100 * shares["share"]).round() + 0.0)  # no -0
    parts.same_numbers(percents, wording.SHARE_COLUMNS)
    found = width.remedies[width.remedies["site"] == site]
    if len(found):
        narrowing = tables.narrowing(found)
        st.text(wording.narrowing(narrowing))
        parts.table(narrowing, wording.REMEDY_COLUMNS)
        st.markdown(wording.HOW_NARROWED)


@st.cache_data(show_spinner=False, max_entries=32, hash_funcs={data.Opened: data.key_of})
def every_series(
    opened: data.Opened, name: str, months: int, level: float, as_of: str | None
) -> None:
    """All series at the month chosen, and what stands behind them."""
    prop = property_named(name)
    projection = data.projected(opened, name, (months,), level, as_of)
    every = data.every_series(opened, name, months, level, as_of)
    st.header(wording.EVERY_SERIES.format(months=months))
    parts.table(
        every.assign(site=every["site"].map(wording.site)), wording.PROJECTION_COLUMNS,
        of=wording.values(prop, wording.READ_OR_PROJECTED, level),
        decimals=prop.decimals, observed_months="%.1f",
    )  # fmt: skip
    parts.notes(projection.notes)
    with st.expander(wording.SOURCES_HEADING):
        parts.table(projection.priors, wording.PRIOR_COLUMNS, decimals=4)
