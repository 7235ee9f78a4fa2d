"""The pages of the formulator: what leads, what fails elsewhere, what additives do."""

from __future__ import annotations

import io
import json
from itertools import product

import pandas as pd
import pytest
from app_page import opened, specs, table

import aging
from aging.comparison import origins, ranks
from aging.comparison.factorial import factorial
from aging.comparison.poolability import poolability
from aging.intake import composition
from aging.records import csv_of
from aging.simulation import Design, simulate
from aging.simulation.scenario import SITES, blend
from aging.simulation.write import write_folder
from aging.vocabulary import property_named
from dashboard import trial_wording, trials, wording


@pytest.fixture(scope="module")
def fitted(folder):
    return aging.fit(folder)


@pytest.fixture
def torn(folder, tmp_path):
    """The folder with the best candidate's elongation below its limit."""
    for file in folder.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    panels = pd.read_csv(tmp_path / "panels.csv")
    panel = panels.loc[panels["formulation"] == "S8H30", "panel"].iloc[0]
    head = pd.read_csv(tmp_path / "readings.csv", nrows=0).columns
    row = {"panel": panel, "read_on": "2026-06-01", "property": "elongation", "value": 40}
    with (tmp_path / "readings.csv").open("a", encoding="utf-8") as file:
        file.write(",".join(str(row.get(name, "")) for name in head) + "\n")
    return tmp_path


def test_compare_shows_paths_parts_and_ranks_with_their_sentences(folder, fitted, monkeypatch):
    app = opened(monkeypatch, folder, "compare", control="S0H0", worthwhile="0.05")
    forest, places, every, *paths, parts = specs(app)
    assert len(paths) == 2
    assert "AMARO" not in json.dumps(forest)
    assert "AMARO" in json.dumps(every)
    assert all("at 36 months S8H30" in one["description"] for one in paths)
    found = origins(fitted).query("formulation == 'S8H30' and site == 'all'")
    told = table(app, "name").query("site == 'mean over sites'")
    assert told["estimate"].tolist() == pytest.approx(found["estimate"].tolist())
    assert "S8H30 against its control" in parts["description"]
    first = ranks(fitted).query("site == 'all' and rank == 1").nlargest(1, "probability")
    assert wording.chance(first["probability"].iloc[0]) in places["description"]
    texts = [text.value for text in app.text]
    for spec in (forest, places, every, *paths, parts):
        assert spec["description"] in texts


def test_the_page_says_whether_batches_and_sites_may_be_averaged(folder, fitted, monkeypatch):
    app = opened(monkeypatch, folder, "compare", control="S0H0", candidate="S8H30")
    rows = poolability(fitted).query("formulation == 'S8H30'").set_index("what")
    told = next(text.value for text in app.text if text.value.startswith("S8H30: batches"))
    assert told.count("look at the worst") == (rows["verdict"] == "look at the worst").sum()
    assert set(table(app, "decided_by")["what"]) == {"batches", "sites"}
    none = trial_wording.pooling(rows[:0].reset_index(), fitted.measured, "A")
    assert none.startswith("A: no batch is recorded")


def test_over_the_months_is_another_comparison(folder, monkeypatch):
    one, other = (
        table(opened(monkeypatch, folder, "compare", target=target), "joint_lower")["estimate"]
        for target in ("state", "period")
    )
    assert one.tolist() != other.tolist()


def test_who_fails_another_property_is_no_winner(torn, monkeypatch):
    app = opened(monkeypatch, torn, "compare", control="S0H0")
    texts = "\n".join(text.value for text in app.text)
    assert "fails: S8H30 (elongation at break); these are no winners" in texts
    assert "the most favourable is S8H30" not in texts
    assert "Not ranked, as they fail another property: S8H30 (elongation at break)" in texts
    assert "S8H30: fails" in json.dumps(specs(app)[0])


def test_a_calculated_property_has_no_parts(folder, monkeypatch):
    app = opened(monkeypatch, folder, "compare", property="sri")
    assert trial_wording.CALCULATED in [text.value for text in app.text]


@pytest.fixture(scope="module")
def grid(tmp_path_factory):
    """Three doses of silica with and without spheres at one site, a year."""
    path = tmp_path_factory.mktemp("grid") / "racks"
    blends = tuple(blend(silica, spheres) for silica, spheres in product((0, 4, 8), (0, 30)))
    plan = Design(sites=SITES[:1], formulations=blends, panels=1, months=12, weather=False)
    write_folder(simulate(plan, 2).exposure, path)
    return path


def test_additives_show_synergy_the_curve_and_every_effect(grid, monkeypatch):
    app = opened(monkeypatch, grid, "additives", additive="silica_wt_pct")
    together, curve = specs(app)
    found = factorial(fit := aging.fit(grid), composition(fit.exposure.formulations)).frame
    mean = found.query("figure == 'state' and effect.str.contains(' x ') and level_1.isna()")
    assert (
        f"{mean['estimate'].iloc[0]:+.3f} beyond the sum of each alone" in together["description"]
    )
    assert "Silica: more of it is better with a chance of" in curve["description"]
    effects = table(app, "what")
    assert len(effects) == len(found.query("figure == 'state'"))
    assert "Silica 8 % by mass" in set(effects["what"])
    texts = [text.value for text in app.text]
    assert {together["description"], curve["description"]} <= set(texts)


def test_two_doses_are_too_few_for_a_curve_and_the_page_says_so(grid, monkeypatch):
    app = opened(monkeypatch, grid, "additives", additive="hollow_sphere_vol_pct", figure="loss")
    assert len(specs(app)) == 1
    assert any("sphere: exposed at 0 and 30 % by volume" in text.value for text in app.text)


def test_without_single_steps_the_page_says_what_to_expose(folder, monkeypatch):
    app = opened(monkeypatch, folder, "additives")
    assert any("one additive alone" in text.value for text in app.text)


def test_the_sentence_of_synergy_names_both_scales():
    rows = pd.DataFrame({"effect": ["a x b"] * 2, "level_1": None, "scale": ["additive",
                         "multiplicative"], "estimate": [0.014, 0.9], "lower": 0.001,
                         "upper": 0.95})  # fmt: skip
    prop = property_named("solar_reflectance")
    told = trial_wording.together(rows, "loss", prop)
    assert "+0.014 beyond the sum of each alone (90 % interval +0.001 to +0.950)" in told
    assert "0.90 of the loss that the two alone would leave" in told
    assert "solar reflectance, fraction" in told
    assert told.endswith("So they hinder each other.")
    assert "So they help" in trial_wording.together(rows, "state", prop)
    assert "no four compositions" in trial_wording.together(rows[:0], "loss", prop)


def test_who_fails_is_told_with_what():
    assert trials.told({"B": ("growth",), "A": ("elongation", "growth")}) == (
        "A (elongation at break, growth and disfigurement), B (growth and disfigurement)"
    )


def test_a_table_to_take_away_runs_nothing_in_a_spreadsheet():
    frame = pd.DataFrame({"formulation": ["=1+1", "S8"], "estimate": [0.1, -0.2]})
    back = pd.read_csv(io.BytesIO(csv_of(frame)))
    assert back["formulation"].tolist() == ["'=1+1", "S8"]
    assert back["estimate"].tolist() == [0.1, -0.2]
