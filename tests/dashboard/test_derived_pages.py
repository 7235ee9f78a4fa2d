"""SRI and surface temperature on the pages: those of the public interface, with the emittance."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pandas as pd
import pytest
from app_page import opened, texts

import aging
from aging.optics.heat import sri
from aging.vocabulary import DERIVED
from dashboard import data, tables, wording

SAMPLE = Path(__file__).parents[2] / "sample_exposure"
EMITTANCE = "thermal emittance 0.90 ± 0.02, assumed"


@pytest.fixture
def decay(folder, monkeypatch):
    return partial(opened, monkeypatch, folder, "decay")


@pytest.fixture(scope="module")
def fitted(folder):
    return aging.fit(folder)


def row(fitted, name: str, months: float, site: str) -> pd.Series:
    frame = fitted.told_as(name).project(months, 0.8).frame
    mine = (frame["site"] == site) & (frame["formulation"] == "S8H30")
    return frame[mine & (frame["target"] == "state")].iloc[0]


def test_the_reflectance_is_told_in_the_sun_as_well(decay, fitted):
    app = decay(site="all", formulation="S8H30", months="24", level="0.8")
    shown = {metric.label: metric.value for metric in app.metric}
    new, aged = (row(fitted, "sri", months, "all") for months in (0, 24))
    assert shown["Solar reflectance index (80 % interval)"] == (
        f"{aged['estimate']:.0f} ({aged['lower']:.0f} to {aged['upper']:.0f})"
    )
    warm = row(fitted, "surface_temperature", 24, "all")
    assert shown["Surface temperature, medium wind (80 % interval)"] == (
        f"{warm['estimate']:.1f} °C ({warm['lower']:.1f} to {warm['upper']:.1f})"
    )
    told = texts(app)
    assert f"When new: solar reflectance index {new['estimate']:.0f} (" in told
    assert EMITTANCE in told
    assert "no rating and no energy figure" in told
    assert new["estimate"] > aged["estimate"]


def test_sri_has_a_decay_of_its_own(decay, fitted, folder):
    app = decay(site="AMARO", formulation="S8H30", property="sri", level="0.8")
    state = row(fitted, "sri", 36, "AMARO")
    shown = {metric.label: metric.value for metric in app.metric}
    assert shown["Mean"] == f"{state['estimate']:.0f}"
    told = texts(app)
    assert wording.MARKS_DERIVED in told
    assert wording.WIDTH_DERIVED in told
    assert f"{EMITTANCE[1:]}: PS0H0" in told
    read = data.read(data.opened(str(folder)), "sri")
    source = tables.readings(data.opened(str(folder)).exposure)
    source = source[source["property"] == "solar_reflectance"]["value"]
    assert read["value"].to_numpy() == pytest.approx(sri(source, 0.90))


def test_derived_properties_are_offered_where_their_source_was_read():
    read = tables.readings(data.open_source(SAMPLE))
    offered = tables.properties(read)
    assert offered[-2:] == list(DERIVED)
    assert "yellowness_index" in offered
    assert not set(DERIVED) & set(tables.properties(read, derived=False))
    assert "yellowness_index" not in tables.properties(read[read["property"] != "b_star"])
    assert "yellowness_index" not in tables.properties(read.assign(illuminant=pd.NA))
    assert not set(DERIVED) & set(tables.properties(read[read["property"] == "gloss_60"]))


def test_compare_takes_them(folder, monkeypatch):
    app = opened(monkeypatch, folder, "compare", property="surface_temperature")
    assert app.selectbox(key="property").value == "surface_temperature"
    assert "better: to the left" in app.get("vega_lite_chart")[0].proto.spec
