"""`aging spectrum --store`: spectra are kept whole, with what follows from them, each once."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pandas as pd
import pytest
import xarray as xr

import aging
from aging import cube
from aging.cli import app
from aging.errors import CallError
from aging.intake import read
from aging.ledger import export, open_ledger
from aging.optics.colour import Conditions, colour_of_spectra
from aging.optics.solar import solar_reflectance
from aging.spectra import alike, derived

AT = np.arange(300, 2501, 10)
WHITE = 0.05 + 0.85 / (1 + np.exp(-(AT - 400) / 12)) - 0.0001 * np.maximum(AT - 700, 0)
TILT, DIRECT = "G173 global tilt", "G173 direct"
PANELS = "panel,formulation,site,exposed_on\nP1,A0,K,2023-01-10\nP2,A8,K,2023-01-10\n"
READINGS = f"""\
panel,read_on,property,value,weighting
P1,2023-01-10,solar_reflectance,0.80,{TILT}
P1,2023-04-10,solar_reflectance,0.78,{TILT}
P2,2023-01-10,solar_reflectance,0.81,
"""


def table(path, samples, at=AT):
    rows = zip(at, *samples.values(), strict=True)
    lines = [",".join(["nm", *samples]), *(",".join(f"{x:.5g}" for x in row) for row in rows)]
    path.write_text("\n".join(lines), encoding="utf-8")
    return str(path)


@pytest.fixture
def store(tmp_path):
    (tmp_path / "panels.csv").write_text(PANELS)
    (tmp_path / "readings.csv").write_text(READINGS)
    where = str(tmp_path / "s.sqlite")
    assert app(["load", str(tmp_path), "--store", where]) == 0
    return where


@pytest.fixture
def white(tmp_path):
    return table(tmp_path / "white.csv", {"P1": WHITE, "P2": WHITE - 0.05})


def held(store):
    with open_ledger(store) as book:
        return book.read()


def revision(store):
    with open_ledger(store) as book:
        return book.revision


def keep(file, store, *more):
    return app(["spectrum", file, "--store", store, "--read-on", "2023-07-11", *more])


def test_spectra_are_stored_whole_with_the_value_that_follows_each_once(white, store, capsys):
    facts = ("--instrument", "SP-05", "--operator", "op1", "--surface-state", "washed")
    assert keep(white, store, *facts) == 0
    assert "readings    2      2             0" in capsys.readouterr().out
    ((_, at, read_at),) = alike(held(store).spectra)
    assert at == pytest.approx(AT)
    assert read_at == pytest.approx(np.stack([WHITE, WHITE - 0.05]), abs=1e-4)
    readings = held(store).readings
    made = readings[readings["spectrum"].notna()]
    assert made["value"].tolist() == pytest.approx(
        solar_reflectance(at, read_at, TILT).value, abs=1e-6
    )
    one = made[made["panel"] == "P1"].iloc[0]
    assert one["spectrum"] == "P1/2023-07-11/washed/SP-05"
    assert one["reading_id"] == f"{one['spectrum']}/solar_reflectance/{TILT}"
    assert (one["weighting"], one["operator"], one["surface_state"]) == (TILT, "op1", "washed")
    before = revision(store)
    assert keep(white, store, *facts) == 0
    assert revision(store) == before


def test_a_spectrum_of_laboratory_soiling_stays_out_of_what_was_read_outdoors(white, store, capsys):
    assert keep(white, store, "--evidence", "laboratory_soiling", "--illuminant", "D65") == 0
    known = held(store)
    assert set(known.spectra["evidence"]) == {"laboratory_soiling"}
    made = known.readings[known.readings["spectrum"].notna()]
    assert len(made) == 10
    assert set(made["evidence"]) == {"laboratory_soiling"}
    spectra = cube.spectra(known)
    assert spectra.sizes["observation"] == 0
    assert spectra.attrs["notes"] == "2 spectra of laboratory soiling or slurry tests left out"
    assert "lightness" not in cube.build(known)["property"]
    capsys.readouterr()
    assert keep(white, store) == 1  # the same spectrum cannot have been soiled outdoors as well
    assert "[conflicts-with-ledger]" in capsys.readouterr().out
    assert keep(white, store, "--instrument", "SP-05", "--evidence", "rain") == 1
    assert "laboratory_soiling" in capsys.readouterr().out


def test_another_weighting_is_applied_later_and_a_series_holds_one(white, store, capsys):
    assert keep(white, store) == 0
    alone = aging.project(held(store), months=12)
    capsys.readouterr()
    assert app(["spectrum", "--store", store, "--weighting", DIRECT, "--json", "-"]) == 0
    made = pd.DataFrame(json.loads(capsys.readouterr().out)["readings"])
    readings = held(store).readings
    both = readings[readings["spectrum"].notna()].pivot_table(
        index="spectrum", columns="weighting", values="value"
    )
    assert sorted(made["value"]) == pytest.approx(sorted(both[DIRECT]))
    assert (both[DIRECT] - both[TILT]).abs().min() > 1e-4
    among = aging.project(held(store), months=12)
    pd.testing.assert_frame_equal(among.frame, alone.frame)
    told = f"2 readings of solar_reflectance under {DIRECT} left out at K: the series there holds"
    assert f"{told} under {TILT}" in " ".join(among.notes)
    before = revision(store)
    assert app(["spectrum", "--store", store, "--weighting", DIRECT]) == 0
    assert revision(store) == before


def test_colour_holds_under_what_was_asked_and_geometry_only_where_given(white, store):
    assert keep(white, store, "--illuminant", "D65") == 0
    assert app(["spectrum", "--store", store, "--illuminant", "C", "--observer", "2",
                "--geometry", "45:0"]) == 0  # fmt: skip
    readings = held(store).readings
    lab = readings[readings["illuminant"].notna() & (readings["panel"] == "P1")]
    assert lab.groupby("illuminant")["geometry"].agg(["count", "nunique"]).to_numpy().tolist() == [
        [4, 1], [0, 0],
    ]  # fmt: skip
    ((_, at, R),) = alike(held(store).spectra)
    colour = colour_of_spectra(at, R[0], Conditions("D65", 10))
    own = lab[lab["illuminant"] == "D65"].set_index("property")["value"]
    assert own[["lightness", "a_star", "b_star"]].tolist() == pytest.approx(colour.lab[0], abs=1e-6)
    assert 0 < own["yellowness_index"] < 10
    assert set(lab["observer_deg"]) == {2, 10}


def test_an_export_with_spectra_loads_into_an_equal_store(white, store, tmp_path):
    assert keep(white, store, "--illuminant", "D65", "--geometry", "d:8 SCI") == 0
    with open_ledger(store) as book:
        export(book, tmp_path / "out")
    again = read(tmp_path / "out")
    assert [one.code for one in again.findings] == []
    copy = str(tmp_path / "copy.sqlite")
    assert app(["load", str(tmp_path / "out"), "--store", copy]) == 0
    for sheet in ("spectra", "readings"):
        pd.testing.assert_frame_equal(getattr(held(copy), sheet), getattr(held(store), sheet))
    before = revision(copy)
    assert app(["spectrum", "--store", copy]) == 0
    assert revision(copy) == before


def test_a_sample_stands_on_its_panel_and_what_is_wrong_is_found(store, tmp_path, capsys):
    samples = {"one": WHITE, "two": 0.9 * WHITE, "P2": WHITE, "lost": WHITE, "percent": 100 * WHITE}
    file = table(tmp_path / "spots.csv", samples)
    assert keep(file, store, "--panels", "one=P1, two=P1") == 1
    said = capsys.readouterr().out
    assert "panel: lost  [unknown-panel]" in said
    assert "[percent-for-fraction]" in said
    assert held(store).spectra["spectrum"].tolist() == [
        "P1/2023-07-11/as_exposed/one", "P1/2023-07-11/as_exposed/two", "P2/2023-07-11/as_exposed",
    ]  # fmt: skip
    assert len(held(store).readings) == 3 + 3


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--read-on", "2022-01-01"], "before-exposure"),
        (["--read-on", "03/04/2023"], "ambiguous-date"),
        (["--read-on", "2023-07-11", "--surface-state", "clean"], "not-allowed"),
    ],
)
def test_what_the_sheet_would_refuse_is_refused(more, said, white, store, capsys):
    before = revision(store)
    assert app(["spectrum", white, "--store", store, *more]) == 1
    assert f"[{said}]" in capsys.readouterr().out
    assert revision(store) == before


@pytest.mark.parametrize(
    ("call", "said"),
    [
        ([], "a FILE"),
        (["FILE", "--store", "STORE"], "day of measuring"),
        (["FILE", "--read-on", "2023-07-11"], "with a FILE and --store"),
        (["--store", "STORE", "--panels", "a=P1"], "with a FILE and --store"),
        (["FILE", "--illuminant", "D65"], "with --store"),
        (["FILE", "--store", "STORE", "--read-on", "2023-07-11", "--panels", "P1"], "SAMPLE=PANEL"),
        (["FILE", "--store", "STORE", "--read-on", "2023-07-11", "--panels", "x=P1"], "P1, P2"),
        (["--store", "STORE", "--illuminant", "noon"], "illuminant"),
    ],
)
def test_a_wrong_call_is_one_line_and_stores_nothing(call, said, white, store, capsys):
    before = revision(store)
    names = {"FILE": white, "STORE": store}
    assert app(["spectrum", *(names.get(word, word) for word in call)]) == 2
    assert said in capsys.readouterr().err
    assert revision(store) == before


def test_a_spectrum_that_differs_from_the_stored_one_is_refused(white, store, tmp_path, capsys):
    assert keep(white, store) == 0
    before = held(store)
    other = table(tmp_path / "other.csv", {"P1": WHITE - 0.01, "P2": WHITE - 0.05})
    assert keep(other, store) == 1
    assert "P1/2023-07-11/as_exposed  [conflicts-with-ledger]" in capsys.readouterr().out
    pd.testing.assert_frame_equal(held(store).spectra, before.spectra)
    pd.testing.assert_frame_equal(held(store).readings, before.readings)


def test_what_no_value_can_be_and_what_is_too_coarse_are_found():
    bright, coarse = np.full(AT.size, 1.05), AT[::2]
    sheet = pd.DataFrame({
        "spectrum": ["bright", "coarse"], "panel": "P1", "read_on": "2023-07-11",
        "surface_state": "as_exposed", "instrument": None, "operator": None,
        "evidence": None,
        "wavelengths_nm": [" ".join(map(str, AT)), " ".join(map(str, coarse))],
        "reflectances": [" ".join(map(str, bright)), " ".join(["0.8"] * coarse.size)],
    })  # fmt: skip
    readings, findings = derived(sheet, TILT, illuminant="D65")
    assert readings["reading_id"].tolist() == [
        "bright/a_star/D65/10", "bright/b_star/D65/10", "bright/yellowness_index/D65/10",
        f"coarse/solar_reflectance/{TILT}",
    ]  # fmt: skip
    assert [one.code for one in findings] == ["gap", "out-of-range", "out-of-range"]
    with pytest.raises(CallError, match="illuminant"):
        derived(sheet, TILT, illuminant="noon")


def test_the_cube_carries_spectra_over_panel_visit_and_wavelength(white, store, tmp_path):
    assert keep(white, store) == 0
    assert keep(white, store, "--surface-state", "washed") == 0
    spectra = cube.spectra(held(store))
    values = cube.build(held(store))
    assert dict(spectra.sizes) == {"observation": 4, "wavelength_nm": AT.size}
    assert spectra["wavelength_nm"].to_numpy() == pytest.approx(AT)
    assert spectra["formulation"].to_numpy().tolist() == ["A0", "A0", "A8", "A8"]
    assert spectra["months"].to_numpy() == pytest.approx(182 / 30.44)
    visit = int(spectra["visit"][0])
    assert values["read_on"].sel(panel="P1", visit=visit) == spectra["read_on"][0]
    full = spectra.set_index(observation=["panel", "visit", "surface_state"])
    full = full.unstack("observation")  # noqa: PD010 - a dataset
    one = full["reflectance"].sel(panel="P2", visit=visit, surface_state="washed")
    assert one.to_numpy() == pytest.approx(WHITE - 0.05, abs=1e-4)
    cube.save(spectra, tmp_path / "spectra.nc")
    with xr.open_dataset(tmp_path / "spectra.nc", engine="h5netcdf") as back:
        xr.testing.assert_allclose(back.load(), spectra)
    assert cube.spectra(held(store), pd.Timestamp("2023-07-10")).sizes["observation"] == 0
    closed = held(store).panels.assign(closed_on="2023-07-01")
    after = cube.spectra(dataclasses.replace(held(store), panels=closed))
    assert set(after["surface_state"].to_numpy()) == {"washed"}
    assert after.attrs["notes"] == "2 spectra after the end of their series left out"


def test_spectra_of_unlike_wavelengths_share_a_grid_to_be_looked_at(white, store, tmp_path):
    fine = np.arange(290, 2511, 4)
    assert keep(white, store) == 0
    finer = np.interp(fine, AT, WHITE)
    rows = table(tmp_path / "fine.csv", {"P1": finer}, fine)
    assert app(["spectrum", rows, "--store", store, "--read-on", "2023-08-11"]) == 0
    spectra = cube.spectra(held(store))
    grid = np.arange(300, 2501, 5)
    assert spectra["wavelength_nm"].to_numpy() == pytest.approx(grid)
    assert spectra["panel"].to_numpy().tolist() == ["P1", "P1", "P2"]
    for place, (at, read_at) in enumerate(((AT, WHITE), (fine, finer))):
        on_grid = np.interp(grid, at, read_at)
        assert spectra["reflectance"][place].to_numpy() == pytest.approx(on_grid, abs=1e-4)
    assert spectra.attrs["notes"] == "2 sets of wavelengths interpolated every 5 nm"
