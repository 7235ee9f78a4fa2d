"""The formulator's commands, on a small invented folder: a roof, a laboratory, prices, a rule."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import product

import pandas as pd
import pytest

from aging.cli import app, differences, output, results
from aging.comparison.differences import COLUMNS
from aging.simulation import Design, simulate
from aging.simulation.scenario import blend
from aging.simulation.write import write_folder
from aging.vocabulary import PROPERTIES

BLENDS = tuple(blend(silica, spheres) for silica, spheres in product((0, 4, 8), (0, 30)))
PLAN = Design(formulations=BLENDS, panels=1, file_specimens=0, months=15, weather=False)
RULE = {"set_on": "2021-01-01", "looks": [6, 12, 24], "worthwhile": 0.02}
PRICES = "additive,price_per_kg,density_kg_m3\nsilica_wt_pct,8,\nhollow_sphere_vol_pct,20,40\n"
SR = PROPERTIES["solar_reflectance"]


@pytest.fixture(scope="module")
def trial(tmp_path_factory):
    """Six formulations on two racks and a roof, one of which tears; four were soiled in a lab."""
    path = tmp_path_factory.mktemp("trial") / "racks"
    made = simulate(PLAN, seed=9).exposure
    panels = made.panels.copy()
    panels.loc[panels["site"] == "KESTREL", "kind"] = "roof_patch"
    hung = panels[panels["site"] == "AMARO"].set_index("formulation")
    more = [
        {"panel": hung["panel"][mix], "read_on": hung["exposed_on"][mix], "value": value,
         "property": "solar_reflectance", "evidence": "laboratory_soiling"}
        for mix, value in (("S0H0", 0.60), ("S4H0", 0.62), ("S8H0", 0.64), ("S8H30", 0.66))
    ]  # fmt: skip
    more.append({"panel": hung["panel"]["S4H30"], "read_on": "2022-06-01", "value": 60.0,
                 "property": "elongation"})  # fmt: skip
    rows = pd.DataFrame(more).assign(surface_state="as_exposed")
    write_folder(replace(made, panels=panels, readings=pd.concat([made.readings, rows])), path)
    (path.parent / "rule.json").write_text(json.dumps(RULE), encoding="utf-8")
    (path.parent / "prices.csv").write_text(PRICES, encoding="utf-8")
    return path


@pytest.fixture
def ask(trial, capsys):
    """Call with a command and its options: the facts it gives as JSON."""

    def asked(command, *options):
        assert app([command, str(trial), *map(str, options), "--json", "-"]) == 0
        return json.loads(capsys.readouterr().out)

    return asked


@pytest.fixture
def terminal(monkeypatch):
    monkeypatch.setattr(output, "watched", lambda: True)

    def wide(columns):
        monkeypatch.setenv("COLUMNS", str(columns))

    return wide


def row(site, formulation, **more):
    ends = {"estimate": 0.0312, "lower": 0.0104, "upper": 0.0511, "joint_lower": 0.0012,
            "joint_upper": 0.0622, "joint_bound": 0.004}  # fmt: skip
    chances = {"better": 0.873, "worthwhile": 0.999, "equivalent": 0.001}
    facts = {"site": site, "formulation": formulation, "against": "S0H0", "level": 0.9,
             "property": SR.name, "months": 36.0, "target": "state", "status": "projected",
             "notes": "", "n_panels": 3}  # fmt: skip
    shares = {f"probability_{name}": value for name, value in chances.items()}
    return dict.fromkeys(COLUMNS) | facts | ends | shares | more


@pytest.fixture
def frame():
    worst = {"worst_site": "AMARO", "worst_estimate": 0.01, "p_sites": 0.2}
    return pd.DataFrame([
        row("AMARO", "S8H30", estimate=0.01), row("AMARO", "S4H0", status="cannot project"),
        row("all", "S8H30", notes="one rack; few visits", **worst),
        row("all", "S4H0", estimate=None, notes="few visits"),
    ])  # fmt: skip


@pytest.mark.parametrize("columns", [80, 120])
def test_differences_fit_and_tell_the_worst_site(frame, terminal, capsys, columns):
    terminal(columns)
    differences.differences(frame, SR, {"worthwhile": 0.02, "margin": 0.01}, ("a note",))
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= columns
    assert "difference to S0H0, state at 36 months" in lines[0]
    (mean,) = [line for line in lines if line.split()[:2] == ["S8H30", "0.031"]]
    figures = ["0.010", "0.051", "0.001", "0.062", "0.87", ">", "0.99", "<", "0.01", "2-3"]
    assert mean.split()[2:] == figures
    below = lines[lines.index(mean) + 1].split()
    assert below[:3] == ["at", "AMARO", "0.010"]
    assert [line.count("few visits") for line in lines].count(1) == 1
    assert "nan" not in " ".join(lines).lower()
    assert lines[-2:] == ["Note: a note", results.CAUTION]


@pytest.mark.parametrize(
    ("probability", "shown"), [(1.0, "> 0.99"), (0.0, "< 0.01"), (0.5, "0.50")]
)
def test_a_chance_from_draws_is_never_shown_as_certain(probability, shown):
    assert differences.chance(probability) == shown


COMMANDS = {
    "compare": ["--worthwhile", "0.02", "--period", "0,36"],
    "compare --every": ["--every-pair"],
    "compare --show origins": [],
    "compare --show ranks": [],
    "compare --show pooling": [],
    "additives": [],
    "additives --dose silica_wt_pct": [],
    "additives --between silica_wt_pct=6,hollow_sphere_vol_pct=15": [],
    "additives --prices": ["prices.csv", "--coating", "1.5", "--density", "1250",
                           "--threshold", "0.6"],
    "look --chances --rule": ["rule.json"],
    "beside": [],
    "beside --what laboratory": [],
}  # fmt: skip


NO_ENDS = ("compare --show origins", "compare --show ranks", "compare --show pooling",
           "additives --between silica_wt_pct=6,hollow_sphere_vol_pct=15")  # fmt: skip


@pytest.mark.parametrize("columns", [80, 120])
def test_every_table_fits_and_is_cut_nowhere(
    trial, fitted, terminal, *, monkeypatch, capsys, columns
):
    terminal(columns)
    monkeypatch.chdir(trial.parent)
    monkeypatch.setattr("aging.fit", lambda *_, **__: fitted)
    for words, options in COMMANDS.items():
        command, *more = words.split()
        more = ["--every-pair"] if more == ["--every"] else [*more, *options]
        assert app([command, str(trial), *more]) == 0, words
        text = capsys.readouterr().out
        assert max(map(len, text.splitlines())) <= columns, words
        assert "…" not in text, words
        assert " nan" not in text.lower(), words
        assert ("upper" in text) == (words not in NO_ENDS), words
        assert text.splitlines()[-1] == results.CAUTION


@pytest.fixture(scope="module")
def fitted(trial):
    import aging

    return aging.fit(trial)


def test_compare_tells_winners_and_who_fails(ask):
    found = ask("compare", "--worthwhile", 0.02, "--period", "0,36", "--level", 0.95)
    assert found["failing"] == {"S4H30": ["elongation"]}
    assert {one["target"] for one in found["rows"]} == {"state", "reading", "period"}
    fails = {one["formulation"] for one in found["rows"] if "fails elongation" in one["notes"]}
    assert fails == {"S4H30"}
    assert found["worthwhile"] == 0.02


def test_amounts_are_the_property_s_own_unless_given(ask):
    found = ask("compare")
    assert (found["worthwhile"], found["margin"]) == (0.02, 0.02)
    assert any("by default: 0.02 (fraction), assumed" in note for note in found["notes"])
    given = ask("compare", "--worthwhile", 0.01, "--margin", 0.03)
    assert (given["worthwhile"], given["margin"]) == (0.01, 0.03)
    assert not any("by default" in note for note in given["notes"])


def test_pooling_tells_batches_and_sites(ask):
    found = ask("compare", "--show", "pooling")
    assert {one["what"] for one in found["rows"]} == {"batches", "sites"}
    verdicts = {"may be averaged", "look at the worst", "cannot be tested"}
    assert {one["verdict"] for one in found["rows"]} <= verdicts


def test_of_many_pairs_the_largest_are_shown(terminal, capsys):
    terminal(120)
    many = pd.DataFrame([row(site, f"F{n}", estimate=n / 1000) for site in ("AMARO", "all")
                         for n in range(150)])  # fmt: skip
    differences.differences(many, SR, {"worthwhile": 0.02, "margin": 0.02}, ())
    text = capsys.readouterr().out
    assert text.count(" F149 ") == 2
    assert " F49 " not in text
    assert "the 100 largest of 150 differences" in text


def test_ranks_leave_out_who_fails_and_draws_are_written(ask, tmp_path):
    import xarray as xr

    found = ask("compare", "--show", "ranks", "--draws", tmp_path / "draws.nc")
    assert "S4H30" not in {one["formulation"] for one in found["rows"]}
    with xr.open_dataset(tmp_path / "draws.nc") as written:
        assert "S4H30" in written["formulation"].to_numpy()


def test_additives_tell_effects_doses_and_refuse_what_was_not_exposed(ask, trial, capsys):
    names = {one["effect"] for one in ask("additives")["rows"]}
    assert names == {"silica_wt_pct", "hollow_sphere_vol_pct",
                     "hollow_sphere_vol_pct x silica_wt_pct"}  # fmt: skip
    found = ask("additives", "--dose", "silica_wt_pct", "--others", "hollow_sphere_vol_pct=30")
    assert [one["dose"] for one in found["curve"] if one["exposed"]] == [0, 4, 8]
    asked = ["additives", str(trial), "--between", "silica_wt_pct=12,hollow_sphere_vol_pct=0"]
    assert app(asked) == 2
    assert "outside what was exposed" in capsys.readouterr().err


def test_costs_come_from_a_file_of_prices(ask, trial, tmp_path, capsys):
    found = ask("additives", "--prices", trial.parent / "prices.csv", "--coating", 1.5,
                "--density", 1250, "--threshold", 0.6)  # fmt: skip
    cost = {one["formulation"]: one["cost_per_m2"] for one in found["rows"]}
    assert cost["S8H0"] == pytest.approx(0.08 * 1.5 * 8)
    assert found["cheapest"] in cost
    (tmp_path / "p.csv").write_text("additive,price_per_kg\nsilica_wt_pct,dear\n", encoding="utf-8")
    asked = ["additives", str(trial), "--prices", str(tmp_path / "p.csv"), "--coating", "1.5"]
    assert app(asked) == 2
    assert "'dear' is no price" in capsys.readouterr().err


def test_design_needs_no_source_and_names_the_cheapest(capsys):
    asked = ["design", "--wanted", "0.03", "--panels", "3", "--sites", "2,3", "--read-to", "24,36"]
    assert app(asked) == 0
    text = capsys.readouterr().out
    assert "the table of priors" in text
    assert "cheapest that shows 0.03: sites 2, panels a formulation and site 3" in text
    assert app([*asked, "--power", "2"]) == 2
    assert "power" in capsys.readouterr().err


def test_a_look_decides_and_a_rule_that_is_none_is_refused(ask, trial, tmp_path, capsys):
    found = ask("look", "--rule", trial.parent / "rule.json")
    assert found["look"] == 12
    assert found["rule"]["set_on"] == "2021-01-01"
    decided = {one["formulation"]: one["decision"] for one in found["rows"]}
    assert decided["S4H30"] == "stop"
    assert set(decided.values()) <= {"stop", "promote", "continue"}
    (tmp_path / "rule.json").write_text("{}", encoding="utf-8")
    assert app(["look", str(trial), "--rule", str(tmp_path / "rule.json")]) == 2
    assert "not a rule" in capsys.readouterr().err


def test_a_roof_and_a_laboratory_stand_beside_the_racks(ask):
    roof = ask("beside")
    assert {one["roof"] for one in roof["offsets"]} == {"KESTREL"}
    assert 0 < roof["worth"] < 1
    found = ask("beside", "--what", "laboratory")
    assert found["correlation"][0]["formulations"] == 4
    assert any("taken as exact" in note for note in found["notes"])
