"""SRI and surface temperature of a projection: the balance of E1980 on its own draws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import aging
from aging.comparison.differences import differences
from aging.errors import CallError
from aging.intake import read
from aging.optics.heat import Emittance, sri, surface_temperature
from aging.projection import gather, movement, shares
from aging.projection.balance import ASSUMED, ZERO_C_K, balance
from aging.simulation import Design, simulate
from aging.vocabulary import DERIVED, property_named

FEW = Design(
    formulations=Design().formulations[:2], sites=Design().sites[:2], months=24,
    washed=(6, 12, 18, 24), properties=("solar_reflectance",),
)  # fmt: skip
EXPOSURE = simulate(FEW, seed=5).exposure
CONTROL, OTHER = EXPOSURE.formulations["formulation"]
SERIES = ("AMARO", OTHER)
EXACT = Emittance(0.88, 0.0, "assumed")


def emitting(*values: float, of: str = OTHER, on: str = "2022-06-01") -> pd.DataFrame:
    """Readings of thermal emittance on panels of a formulation."""
    panels = EXPOSURE.panels
    ids = panels.loc[(panels["formulation"] == of) & (panels["kind"] == "exposed"), "panel"]
    rows = EXPOSURE.readings.iloc[: len(values)]
    return rows.assign(
        panel=ids.to_numpy()[: len(values)], read_on=on, property="thermal_emittance",
        value=values, surface_state="as_exposed", reading_id=[f"{on}-{i}" for i in values],
    )  # fmt: skip


def with_readings(*more: pd.DataFrame):
    return replace(EXPOSURE, readings=pd.concat([EXPOSURE.readings, *more], ignore_index=True))


@pytest.fixture(scope="module")
def fitted():
    return aging.fit(EXPOSURE)


@pytest.fixture(scope="module")
def exact(fitted):
    """The same fit told as SRI and temperature with an emittance without error."""
    known = dict.fromkeys((CONTROL, OTHER), EXACT)
    told = {name: fitted.told_as(name) for name in DERIVED}
    return {
        name: replace(one, balance=replace(one.balance, emittances=known))
        for name, one in told.items()
    }


def state(frame: pd.DataFrame, site: str = "AMARO") -> pd.Series:
    mine = frame[(frame["site"] == site) & (frame["formulation"] == OTHER)]
    return mine[mine["target"] == "state"].iloc[0]


def test_derived_draws_are_the_balance_of_the_reflectance_draws(fitted):
    reflectance = fitted.draws([36])[SERIES]["state"]
    told = fitted.told_as("sri")
    index = told.draws([36])[SERIES]["state"]
    warm = fitted.told_as("surface_temperature", "low").draws([36])[SERIES]["state"]
    drawn = told.balance.of(np.zeros((reflectance.size, 1)), [OTHER])[:, 0]
    grid = np.linspace(0.7, 1, 3001)
    emittances = np.interp(drawn, sri(0.0, grid), grid)
    assert emittances.mean() == pytest.approx(0.90, abs=0.002)
    assert emittances.std() == pytest.approx(0.02, abs=0.002)
    assert index[0] == pytest.approx(sri(reflectance[0], emittances), abs=1e-4)
    celsius = surface_temperature(reflectance[0], emittances, "low") - ZERO_C_K
    assert warm[0] == pytest.approx(celsius, abs=1e-4)


def test_with_an_exact_emittance_the_ends_are_those_of_the_reflectance(fitted, exact):
    draws = fitted.draws([36])[SERIES]["state"].shape[1]
    level = 1 - 2 * round(0.05 * (draws - 1)) / (draws - 1)  # its ends are draws themselves
    read = state(fitted.project(36, level).frame)
    index = state(exact["sri"].project(36, level).frame)
    warm = state(exact["surface_temperature"].project(36, level).frame)
    for low, high in (("lower", "upper"), ("upper", "lower")):
        assert index[low] == pytest.approx(float(sri(read[low], EXACT.value)), abs=1e-9)
        celsius = float(surface_temperature(read[low], EXACT.value)) - ZERO_C_K
        assert warm[high] == pytest.approx(celsius, abs=1e-9)
    kept = ["status", "n_panels", "n_readings", "observed_months", "notes"]
    assert index[kept].equals(read[kept])
    assert index["lower"] < index["one_sided_bound"] < index["estimate"]
    assert warm["upper"] > warm["one_sided_bound"] > warm["estimate"]


def test_an_uncertain_emittance_widens_and_does_not_average_out_over_sites(fitted, exact):
    apart = fitted.told_as("sri")
    known = dict.fromkeys((CONTROL, OTHER), Emittance(0.88, 0.06, "assumed"))
    wide = replace(apart, balance=replace(apart.balance, emittances=known))
    for site in ("AMARO", "all"):
        rows = [state(one.project(0).frame, site) for one in (exact["sri"], wide)]
        narrow, broad = (row["upper"] - row["lower"] for row in rows)
        own = 2 * 1.645 * 0.06 * (sri(0.85, 0.89) - sri(0.85, 0.87)) / 0.02  # about SR when new
        assert broad == pytest.approx(np.hypot(narrow, own), rel=0.15)


def test_project_and_compare_take_derived_properties_by_name(fitted):
    project = aging.project(EXPOSURE, property="sri")
    assert set(project.frame["property"]) == {"sri"}
    assert project.frame.equals(fitted.told_as("sri").project().frame)
    assert any("E1980, standard conditions, medium wind" in note for note in project.notes)
    assert "thermal emittance 0.90 ± 0.02, assumed: " + f"{CONTROL}, {OTHER}" in project.notes
    differences = aging.compare(EXPOSURE, property="surface_temperature")
    assert set(differences.frame["property"]) == {"surface_temperature"}


def test_cooler_is_better(fitted, exact):
    chances = []
    for one in (fitted, exact["sri"], exact["surface_temperature"]):
        row = state(differences(one, 1).frame)
        chances.append(row["probability_better"])
        better = row["estimate"] * (-1 if one.measured.name == "surface_temperature" else 1)
        assert (better > 0) == (row["probability_better"] > 0.5)
    assert 0 < chances[0] < 1
    assert chances[1:] == [chances[0]] * 2


def test_emittance_is_that_of_the_latest_year_of_each_formulation():
    early, lab = emitting(0.50, on="2021-05-01"), emitting(0.30, on="2022-06-03")
    washed = emitting(0.20, on="2022-06-02").assign(surface_state="washed")
    exposure = with_readings(
        emitting(0.86, 0.88, 0.87), early, washed, lab.assign(evidence="slurry")
    )
    known = balance(property_named("sri"), "medium", exposure, (CONTROL, OTHER))
    assert known.emittances[CONTROL] == ASSUMED
    mine = known.emittances[OTHER]
    assert mine.known == "measured"
    assert mine.value == pytest.approx(0.87)
    assert mine.sd == pytest.approx(np.hypot(0.01 / np.sqrt(3), 0.01))
    assert known.notes[1:] == (
        f"thermal emittance 0.90 ± 0.02, assumed: {CONTROL}",
        f"thermal emittance 0.87 ± 0.012, measured: {OTHER}",
    )
    one = balance(property_named("sri"), "medium", with_readings(emitting(0.86)), (OTHER,))
    assert one.emittances[OTHER].sd == pytest.approx(0.01 * np.sqrt(2))


def test_losses_and_movement_are_told_in_the_derived_unit(fitted, exact):
    parts = exact["surface_temperature"].losses(24).frame.query("site == 'AMARO'")
    total = parts.query("formulation == @OTHER and part == 'total'")["estimate"].item()
    drawn = exact["surface_temperature"].draws([0, 24])[SERIES]["state"]
    assert total == pytest.approx(np.median(drawn[0] - drawn[1]), abs=0.2)
    assert total < 0  # it got warmer
    mine = tuple(one for one in fitted.series if (one.site, one.formulation) == SERIES)
    moved, told = (
        movement(replace(one, series=mine), 9, draws=200).query("site == 'AMARO'")
        for one in (fitted, exact["sri"])
    )
    assert set(told["property"]) == {"sri"}
    for column in ("estimate", "later"):
        expected = sri(moved[column], EXACT.value)
        assert told[column].to_numpy() == pytest.approx(expected, abs=0.02)


def test_what_a_derived_property_cannot_tell_is_refused(fitted):
    told = fitted.told_as("sri")
    with pytest.raises(CallError, match=r"retention of: 'sri'.*ratio scale"):
        told.project(36, retention=True)
    with pytest.raises(CallError, match="derived from solar_reflectance"):
        gather(EXPOSURE, "sri")
    with pytest.raises(CallError, match="derived from solar_reflectance"):
        aging.backtest(EXPOSURE, "surface_temperature")
    with pytest.raises(CallError, match="one that is read: solar_reflectance"):
        told.as_read()
    with pytest.raises(CallError, match=r"'surface_temperature'.*sri, or what is derived"):
        told.told_as("surface_temperature")
    assert set(shares(told)["property"]) == {"solar_reflectance"}
    assert told.told_as("sri") is told


def test_a_derived_property_is_no_reading(tmp_path):
    (tmp_path / "panels.csv").write_text("panel,formulation,site,exposed_on\nP1,A,X,2025-01-01\n")
    (tmp_path / "readings.csv").write_text("panel,read_on,property,value\nP1,2025-02-01,sri,101\n")
    found = read(tmp_path)
    assert found.exposure.readings.empty
    assert any(one.severity == "block" and "sri" in one.seen for one in found.findings)
