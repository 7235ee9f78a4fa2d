"""Each page runs on real readings, and its numbers are those of the public interface."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pandas as pd
import pytest
from app_page import opened, specs, table, texts
from streamlit.testing.v1 import AppTest

import aging
from aging.intake import read
from aging.ledger import open_ledger
from aging.projection import movement, remedies, shares
from dashboard import wording
from dashboard.launch import APP, SOURCE


@pytest.fixture
def page(folder, monkeypatch):
    return partial(opened, monkeypatch, folder)


def overview() -> AppTest:
    app = AppTest.from_file(str(APP), default_timeout=120).run()
    app.switch_page("views/overview.py").run()
    assert not app.exception
    return app


@pytest.fixture(scope="module")
def projection(folder) -> pd.DataFrame:
    frame = aging.project(folder, months=36).frame
    return frame.set_index(["site", "formulation", "target"])


def test_overview_counts_what_hangs_there(page, folder):
    app = page("overview")
    panels = pd.read_csv(folder / "panels.csv")
    hung = panels[(panels["kind"] == "exposed") & panels["closed_on"].isna()]
    shown = {metric.label: metric.value for metric in app.metric}
    assert shown["Panels in the weather"] == str(len(hung))
    assert shown["Sites"] == "2"
    readings = pd.read_csv(folder / "readings.csv")
    last = readings.loc[readings["panel"].isin(hung["panel"]), "read_on"].str[:10].max()
    assert shown["Last visit"] == last
    [spec] = specs(app)
    assert "visits at 2 sites" in spec["description"]


def test_overview_lists_the_findings_of_the_files(folder, tmp_path, monkeypatch):
    for name in ("panels", "sites", "formulations"):
        (tmp_path / f"{name}.csv").write_bytes((folder / f"{name}.csv").read_bytes())
    lines = (folder / "readings.csv").read_text(encoding="utf-8").splitlines()
    bad = lines[1].split(",")
    bad[1], bad[3] = "2021-05-05", "not a number"
    (tmp_path / "readings.csv").write_text("\n".join([*lines, ",".join(bad)]), encoding="utf-8")
    monkeypatch.setenv(SOURCE, str(tmp_path))
    app = overview()
    tables = [frame.value for frame in app.dataframe]
    counted = next(t for t in tables if "count" in t and "code" in t)
    assert (counted["severity"] == "block").any()
    first = next(t for t in tables if "allowed" in t)
    assert "not a number" in first["seen"].to_list()


def test_decay_shows_the_projection_of_the_public_interface(page, projection):
    app = page("decay", site="all", formulation="S8H30")
    state = projection.loc[("all", "S8H30", "state")]
    reading = projection.loc[("all", "S8H30", "reading")]
    shown = {metric.label: metric.value for metric in app.metric}
    assert shown["Mean"] == f"{state['estimate']:.3f}"
    assert shown["90 % interval of the mean"] == f"{state['lower']:.3f} to {state['upper']:.3f}"
    wide = f"{reading['lower']:.3f} to {reading['upper']:.3f}"
    assert shown["90 % interval of a visit's reading of it"] == wide
    assert f"Status: {state['status']}" in texts(app)
    assert "A projection is not a rating." in texts(app)
    fan, width, moved = specs(app)
    assert f"{state['estimate']:.3f} at 36 months" in fan["description"]
    assert {spec["description"] for spec in (fan, width, moved)} <= set(texts(app).split("\n"))


def test_decay_table_repeats_the_curve(page, projection):
    app = page("decay", site="KESTREL", formulation="S0H0")
    steps = table(app, "kind").set_index("months")
    state = projection.loc[("KESTREL", "S0H0", "state")]
    assert steps.index.tolist() == [0, 6, 12, 18, 24, 30, 36]
    assert steps.loc[36, "estimate"] == pytest.approx(state["estimate"])
    assert steps.loc[0, "kind"] == wording.OBSERVED
    assert steps.loc[36, "kind"] == wording.PROJECTED


def test_decay_tells_what_makes_the_interval_wide_and_what_would_narrow_it(page, folder):
    app = page("decay", site="AMARO", formulation="S8H30")
    fit = aging.fit(folder)
    mine = "site == 'AMARO' and formulation == 'S8H30' and target == 'state'"
    share = shares(fit, 36).query(mine).set_index("source")["share"]
    statement = specs(app)[1]["description"]
    assert f"{wording.FROM[share.idxmax()].lower()} {100 * share.max():.0f} %" in statement
    shown = table(app, "name")
    expected = remedies(fit, 36).query(mine)
    assert shown["state"].tolist() == pytest.approx((100 * expected["width_factor"]).tolist())
    first = expected.iloc[0]
    assert shown["name"].iloc[0] == f"another visit at {first['amount']} months"
    assert f"to about {100 * first['width_factor']:.0f} % of today's width" in texts(app)


def test_what_is_already_measured_has_no_remedy(page):
    app = page("decay", site="AMARO", formulation="PS8H30")
    assert "Status: already measured" in texts(app)
    assert not [frame for frame in app.dataframe if "name" in frame.value]


def test_decay_shows_how_the_projection_moved_and_what_was_read(page, folder):
    app = page("decay", site="AMARO", formulation="PS8H30")
    statement = specs(app)[2]["description"]
    fit = aging.fit(folder)
    series = [one for one in fit.series if (one.site, one.formulation) == ("AMARO", "PS8H30")]
    moved = movement(replace(fit, series=tuple(series)), 36)
    moved = moved.query("site == 'AMARO' and target == 'reading'")
    later = moved["later"].iloc[0]
    held = moved["later"].between(moved["lower"], moved["upper"]).sum()
    assert f"{held} of {len(moved)} held the {later:.3f} read then." in statement
    ahead = page("decay", site="AMARO", formulation="S8H30")
    assert "held" not in specs(ahead)[2]["description"]


def test_as_of_an_earlier_day_later_readings_are_hidden_but_shown(page, folder):
    app = page("decay", site="AMARO", formulation="PS8H30")
    days = app.selectbox(key="as_of").options
    assert days[0] == wording.EVERYTHING
    assert days[1:] == sorted(days[1:], reverse=True)
    day = days[-8]
    app.selectbox(key="as_of").set_value(day).run()
    assert not app.exception
    known = aging.project(folder, 36, as_of=day).frame
    row = known.query("site == 'AMARO' and formulation == 'PS8H30' and target == 'state'").iloc[0]
    assert app.metric[0].value == f"{row['estimate']:.3f}"
    assert f"as of {day}" in texts(app)
    assert app.query_params["as_of"] == day
    assert "Read later, as exposed" in app.get("vega_lite_chart")[0].proto.spec


def test_decay_offers_only_properties_that_can_be_averaged(page):
    app = page("decay")
    [choice] = [box for box in app.selectbox if box.key == "property"]
    assert choice.options == [
        "Solar reflectance", "Solar reflectance index", "Surface temperature in the sun",
    ]  # fmt: skip


def test_a_choice_moves_the_numbers_and_the_address(page, projection):
    app = page("decay")
    before = app.metric[0].value
    app.selectbox(key="site").set_value("AMARO").run()
    app.selectbox(key="formulation").set_value("PS8H30").run()
    assert not app.exception
    state = projection.loc[("AMARO", "PS8H30", "state")]
    assert app.metric[0].value == f"{state['estimate']:.3f}" != before
    assert app.query_params["site"] == "AMARO"
    assert app.query_params["formulation"] == "PS8H30"


def test_a_choice_survives_a_page_change(page):
    app = page("decay")
    app.selectbox(key="site").set_value("KESTREL").run()
    app.selectbox(key="months").set_value(24).run()
    app.switch_page("views/compare.py").run()
    assert app.selectbox(key="months").value == 24
    app.switch_page("views/decay.py").run()
    assert app.selectbox(key="site").value == "KESTREL"
    assert app.selectbox(key="months").value == 24


def test_an_address_with_unknown_values_falls_back(page):
    app = page("decay", site="<script>", formulation="gone", months="-4", level="2")
    assert app.selectbox(key="site").value == "all"
    assert app.selectbox(key="months").value == 36
    assert app.selectbox(key="level").value == 0.90


def test_compare_shows_the_comparison_of_the_public_interface(page, folder):
    app = page("compare", control="S0H0")
    frame = aging.compare(folder, months=36).frame
    frame = frame[(frame["target"] == "state") & (frame["against"] == "S0H0")]
    shown = table(app, "joint_lower").set_index(["formulation", "site"])
    ends = ["estimate", "lower", "upper", "joint_lower", "joint_upper"]
    for row in frame.to_dict("records"):
        got = shown.loc[(row["formulation"], wording.site(row["site"]))]
        assert got[ends].tolist() == pytest.approx([row[end] for end in ends])
    assert "the most favourable is S8H30" in specs(app)[0]["description"]


def test_a_folder_without_control_says_so_in_place_of_a_comparison(folder, tmp_path, monkeypatch):
    for name in ("panels", "readings"):
        (tmp_path / f"{name}.csv").write_bytes((folder / f"{name}.csv").read_bytes())
    monkeypatch.setenv(SOURCE, str(tmp_path))
    app = overview()
    assert "No control" in app.dataframe[0].value["matter"].to_list()
    app.switch_page("views/compare.py").run()
    assert not app.exception
    assert [w.value for w in app.warning] == [wording.CANNOT_MODEL]
    assert "control" in texts(app)


def test_new_readings_show_without_a_restart(folder, tmp_path, monkeypatch):
    for file in folder.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    monkeypatch.setenv(SOURCE, str(tmp_path))
    app = overview()
    before = int(app.metric[2].value.replace(",", ""))
    lines = (tmp_path / "readings.csv").read_text(encoding="utf-8").splitlines()
    (tmp_path / "readings.csv").write_text("\n".join(lines[:-10]) + "\n", encoding="utf-8")
    app.run()
    assert int(app.metric[2].value.replace(",", "")) < before


def test_a_source_that_is_not_there_is_told_in_words(monkeypatch):
    monkeypatch.setenv(SOURCE, "/no/such/folder")
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    assert not app.exception
    assert wording.CANNOT_READ in texts(app)
    assert "/no/such/folder" in texts(app)


def test_a_store_shows_what_is_appended(folder, tmp_path, monkeypatch):
    exposure = read(folder).exposure
    some = exposure.readings.iloc[:-10].reset_index(drop=True)
    store = tmp_path / "team.sqlite"
    with open_ledger(store, create=True) as ledger:
        ledger.append(replace(exposure, readings=some), by="test", source="first")
    monkeypatch.setenv(SOURCE, str(store))
    app = overview()
    before = int(app.metric[2].value.replace(",", ""))
    with open_ledger(store) as ledger:
        ledger.append(exposure, by="test", source="second")
    app.run()
    assert int(app.metric[2].value.replace(",", "")) > before
    app.switch_page("views/decay.py").run()
    assert not app.exception
    assert app.metric[0].value != "none"

    drawn = app.get("vega_lite_chart")[0].proto
    assert app.run().get("vega_lite_chart")[0].proto == drawn
    series = exposure.readings.merge(exposure.panels, on="panel")
    shown = app.selectbox(key="formulation").value
    mine = series[(series["formulation"] == shown) & (series["property"] == "solar_reflectance")]
    with open_ledger(store) as ledger:
        ledger.correct(mine["reading_id"].iloc[-1], 0.5, by="test", reason="misread")
    assert app.run().get("vega_lite_chart")[0].proto != drawn
