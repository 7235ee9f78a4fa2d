"""Spectra, colour and ratings in the dashboard are those that the science makes of the readings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from app_page import opened, specs, table, texts
from streamlit.testing.v1 import AppTest

from aging.decay.ratings import Ratings, differences, trend
from aging.optics.colour import (
    Conditions,
    ciede2000,
    colour_of_readings,
    grey_scale_step,
    yellowness_index,
)
from aging.optics.screen import screen_colours
from aging.optics.solar import solar_reflectance
from dashboard import appearance, look_wording

ROOT = Path(__file__).parents[2]
KEPT = ("S0H0", "S8H30", "PS0H0")
LAB = ["lightness", "a_star", "b_star"]
NM = np.arange(300.0, 2501.0, 20.0)
NEW = np.where(NM < 400, 0.1, 0.85)
SPECTRA = (  # panel, day, surface state, reflectance; hung on 2025-02-10
    ("AMARO-S0H0-1", "2025-02-10", "as_exposed", NEW),
    ("AMARO-S0H0-1", "2026-02-10", "as_exposed", np.where(NM < 700, NEW - 0.08, NEW - 0.02)),
    ("AMARO-S0H0-1", "2026-02-10", "washed", NEW - 0.03),
    ("AMARO-S8H30-2", "2025-02-10", "as_exposed", NEW),
)


@pytest.fixture(scope="module")
def looked(tmp_path_factory) -> Path:
    """The sample's colours and ratings of three formulations, and spectra of two panels."""
    made, sample = tmp_path_factory.mktemp("appearance"), ROOT / "sample_exposure"
    panels = pd.read_csv(sample / "panels.csv")
    panels = panels[panels["formulation"].isin(KEPT) & panels["site"].isin(["AMARO", "DRYWELL"])]
    panels.to_csv(made / "panels.csv", index=False)
    readings = pd.read_csv(sample / "readings.csv")
    wanted = readings["property"].isin([*LAB, "chalking_astm", "growth"])
    readings[wanted & readings["panel"].isin(panels["panel"])].to_csv(
        made / "readings.csv", index=False
    )
    formulations = pd.read_csv(sample / "formulations.csv")
    formulations[formulations["formulation"].isin(KEPT)].to_csv(
        made / "formulations.csv", index=False
    )
    columns = ["panel", "read_on", "surface_state", "reflectances"]
    spectra = pd.DataFrame(SPECTRA, columns=columns).assign(
        wavelengths_nm=" ".join(f"{nm:g}" for nm in NM), instrument="S1"
    )
    spectra["reflectances"] = [" ".join(f"{r:.4f}" for r in one) for one in spectra["reflectances"]]
    spectra.to_csv(made / "spectra.csv", index=False)
    return made


@pytest.fixture
def page(looked, monkeypatch):
    def run(view: str, source: Path = looked, **query: str) -> AppTest:
        return opened(monkeypatch, source, view, **query)

    return run


def test_spectra_are_weighted_and_the_bands_add_up_to_the_loss(page):
    app = page("spectra", site="AMARO", formulation="S0H0")
    new, aged, washed = (
        solar_reflectance(NM, np.round(one[3], 4), "G173 global tilt") for one in SPECTRA[:3]
    )
    shown = table(app, "solar_reflectance")
    assert shown["name"].tolist() == [
        "new, as exposed", "12.0 months, as exposed", "12.0 months, washed",
    ]  # fmt: skip
    assert shown["solar_reflectance"].tolist() == pytest.approx(
        [new.value, aged.value, washed.value]
    )
    bands = table(app, "share").set_index("band")
    assert bands["loss"].sum() == pytest.approx(new.value - aged.value)
    assert bands["part"].sum() == pytest.approx(100)
    assert bands.loc["near infrared", "then"] == pytest.approx(new.bands[2].reflectance)
    assert bands.loc["near infrared", "share"] == pytest.approx(52.05, abs=0.01)
    overlay, loss = specs(app)
    assert f"{new.value:.3f} (new, as exposed) and {aged.value:.3f}" in overlay["description"]
    assert f"visible {bands.loc['visible', 'part']:.0f} %" in loss["description"]
    assert {overlay["description"], loss["description"]} <= set(texts(app).split("\n"))


def test_another_spectrum_and_another_sun_change_the_loss(page):
    app = page("spectra", site="AMARO", formulation="S0H0")
    before = table(app, "share")["loss"].sum()
    assert app.selectbox(key="aged").options == ["12.0 months, as exposed", "12.0 months, washed"]
    app.selectbox(key="aged").set_value("AMARO-S0H0-1/2026-02-10/washed/S1").run()
    direct = app.selectbox(key="weighting").set_value("G173 direct").run()
    assert not direct.exception
    shown = table(direct, "share")
    assert shown["loss"].sum() == pytest.approx(0.03) != pytest.approx(before)
    assert "G173 direct" in direct.get("vega_lite_chart")[0].proto.spec


def test_one_spectrum_is_drawn_without_a_loss(page):
    app = page("spectra", site="AMARO", formulation="S8H30")
    assert len(specs(app)) == 1
    assert look_wording.ONE_SPECTRUM in texts(app)


def test_without_spectra_the_page_says_how_to_add_some(page, looked, tmp_path):
    for name in ("panels", "readings"):
        (tmp_path / f"{name}.csv").write_bytes((looked / f"{name}.csv").read_bytes())
    app = page("spectra", source=tmp_path)
    assert look_wording.NO_SPECTRA in texts(app)
    assert [code.value for code in app.code] == [look_wording.ADD_SPECTRA]
    assert not specs(app)


def readings_of(looked: Path, site: str, *names: str) -> pd.DataFrame:
    panels = pd.read_csv(looked / "panels.csv")
    panels = panels[(panels["site"] == site) & (panels["kind"] == "exposed")]
    readings = pd.read_csv(looked / "readings.csv").merge(panels, on="panel")
    return readings[readings["formulation"].isin(names)]


def test_colour_is_told_by_visit_against_each_panels_own_start(page, looked):
    app = page("appearance", site="DRYWELL", formulation="S8H30")
    shown = table(app, "delta_e_00")
    rows = readings_of(looked, "DRYWELL", "S8H30").pivot_table(
        index=["read_on", "surface_state", "panel"], columns="property", values="value"
    )[LAB]
    days = rows.index.get_level_values("read_on").unique().sort_values()
    first = rows.loc[days[0], "as_exposed"]
    last = rows.loc[days[-1], "as_exposed"].reindex(first.index)
    row = shown[shown["state"] == "as exposed"].iloc[-1]
    assert row[LAB].tolist() == pytest.approx(last.mean().tolist())
    assert row["delta_e_00"] == pytest.approx(ciede2000(last, first).mean())
    yellow = yellowness_index(colour_of_readings(last, Conditions("D65", 10, "d:8 SCI")))
    assert row["yellowness_index"] == pytest.approx(yellow.mean())
    assert row["grey_scale"] == str(grey_scale_step(last.mean(), first.mean()))
    swatches = appearance.swatches(shown.assign(surface_state=shown["state"].str.replace(" ", "_")))
    assert swatches["colour"].tolist()[:2] == screen_colours([first.mean(), last.mean()])
    assert [name.split(", ")[-1] for name in swatches["name"]] == [
        "as exposed", "as exposed", "washed",
    ]  # fmt: skip
    assert all(f"({name})" in specs(app)[0]["description"] for name in swatches["name"])
    assert len(specs(app)) == 1 + 5 + 1
    assert {spec["description"] for spec in specs(app)} <= set(texts(app).split("\n"))


def test_colour_without_its_conditions_has_no_difference_and_says_why(page, looked, tmp_path):
    for name in ("panels", "formulations"):
        (tmp_path / f"{name}.csv").write_bytes((looked / f"{name}.csv").read_bytes())
    readings = pd.read_csv(looked / "readings.csv").drop(columns="illuminant")
    readings.to_csv(tmp_path / "readings.csv", index=False)
    app = page("appearance", source=tmp_path, site="AMARO", formulation="S8H30")
    assert look_wording.NOT_STATED in texts(app)
    assert table(app, "delta_e_00")["delta_e_00"].isna().all()
    assert len(specs(app)) == 1 + 3 + 1


def test_an_illuminant_that_nobody_knows_is_told_and_stops_nothing(page, looked, tmp_path):
    (tmp_path / "panels.csv").write_bytes((looked / "panels.csv").read_bytes())
    readings = pd.read_csv(looked / "readings.csv")
    readings["illuminant"] = readings["illuminant"].replace("D65", "moonlight")
    readings.to_csv(tmp_path / "readings.csv", index=False)
    app = page("appearance", source=tmp_path, site="AMARO", formulation="S8H30")
    assert "moonlight" in texts(app)
    assert table(app, "delta_e_00")["delta_e_00"].isna().all()
    assert "median" in app.dataframe[-1].value


@pytest.mark.parametrize(("rating", "method"), [("chalking_astm", "D"), ("growth", "")])
def test_ratings_stand_as_read_with_the_trend_of_the_science(page, looked, rating, method):
    app = page("appearance", site="DRYWELL", trial="2025-02-24", rating=rating)
    rows = readings_of(looked, "DRYWELL", "S0H0", "S8H30").query("property == @rating")
    cells = table(app, "median")
    read = rows.groupby(["formulation", "read_on"])["value"].agg(["median", "min"]).reset_index()
    assert cells["worst"].tolist() == read["min"].tolist()
    whole = cells["panels"] == 3
    assert cells.loc[whole, "median"].tolist() == read.loc[whole.to_numpy(), "median"].tolist()
    days = pd.to_datetime(rows["read_on"]) - pd.Timestamp("2025-02-24")
    found = Ratings.of(rows.assign(months=days.dt.days / 30.44, method=method), rating)
    shown = table(app, "odds").set_index("formulation")
    for name in ("S0H0", "S8H30"):
        fitted = trend(found, name)
        assert shown.loc[name, "odds"] == look_wording.odds(fitted.odds_ratio)
        if fitted.reason:
            assert f"No odds for {name}" in texts(app) or fitted.reason in texts(app)
    [against] = differences(found, "S0H0")
    assert shown.loc["S8H30", "superiority"] == pytest.approx(100 * against.superiority)
    assert ("method D" in specs(app)[-1]["description"]) == bool(method)


def test_another_trial_offers_its_own_formulations(page):
    app = page("appearance", site="AMARO")
    assert app.selectbox(key="trial").options == ["2021-04-06", "2025-02-10"]
    app.selectbox(key="trial").set_value("2021-04-06").run()
    assert not app.exception
    assert app.selectbox(key="formulation").options == ["PS0H0"]
    assert app.query_params["trial"] == "2021-04-06"


def test_without_colour_or_ratings_the_page_says_so(page, looked, tmp_path):
    (tmp_path / "panels.csv").write_bytes((looked / "panels.csv").read_bytes())
    one = {"panel": "AMARO-S0H0-1", "read_on": "2025-03-01", "value": 0.8}
    pd.DataFrame([one]).assign(property="solar_reflectance").to_csv(
        tmp_path / "readings.csv", index=False
    )
    assert look_wording.NO_APPEARANCE in texts(page("appearance", source=tmp_path))


def test_only_ratings_or_only_colour_show_alone(page, looked, tmp_path):
    (tmp_path / "panels.csv").write_bytes((looked / "panels.csv").read_bytes())
    readings = pd.read_csv(looked / "readings.csv")
    for kept, charts, told in (
        (["growth"], 1, look_wording.NO_COLOUR), (LAB, 6, look_wording.NO_RATINGS),
    ):  # fmt: skip
        some = readings[readings["property"].isin(kept)]
        some.to_csv(tmp_path / "readings.csv", index=False)
        app = page("appearance", source=tmp_path, site="AMARO", formulation="S8H30")
        assert len(specs(app)) == charts
        assert told in texts(app)


@pytest.mark.parametrize(
    ("value", "told"),
    [(float("nan"), ""), (3.5039, "3.5"), (53.89, "54"), (0.0004, "below 0.001"),
     (4e5, "above 1000"), (129.7, "130")],
)  # fmt: skip
def test_odds_are_told_to_two_figures(value, told):
    assert look_wording.odds(value) == told
