"""Studies repeat, precedents stand beside the running campaign, and the command writes both."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from aging import cube, intake
from aging.campaigns import campaigns
from aging.cli import app
from aging.errors import CallError
from aging.records import SHEETS
from aging.simulation import (
    COURSES,
    DISTURBANCES,
    STUDY,
    campaign_streams,
    coats,
    merge,
    precedents,
    schedule,
    simulate,
    sized,
    study,
)

SMALL = replace(STUDY, formulations=coats(2), panels=2)


def same(one, other):
    for name, frame in one.exposure.frames():
        pd.testing.assert_frame_equal(frame, getattr(other.exposure, name))
    pd.testing.assert_frame_equal(one.truth, other.truth)


def test_a_stream_repeats_whichever_its_length():
    few = list(campaign_streams("seasonal", 2, 5, SMALL))
    more = list(campaign_streams("seasonal", 3, 5, SMALL))
    for one, again in zip(few, more, strict=False):
        same(one, again)
    same(few[0], simulate(study("seasonal", SMALL), 5))
    firsts = [campaign.truth["state"].iloc[0] for campaign in more]
    assert len(set(firsts)) == 3


def test_equal_seeds_give_other_courses_the_same_weather_and_start():
    one, other = (
        next(campaign_streams(course, 1, 5, SMALL)) for course in ("seasonal", "two pools")
    )
    pd.testing.assert_frame_equal(one.exposure.weather, other.exposure.weather)
    pd.testing.assert_frame_equal(one.exposure.panels, other.exposure.panels)
    first = one.truth["months"] == 0
    pd.testing.assert_series_equal(one.truth["state"][first], other.truth["state"][first])
    assert (one.truth["state"][~first] != other.truth["state"][~first]).all()


def test_a_name_joins_a_course_and_what_disturbs_it():
    design = study("late growth + storm+missing visits + unequal panels")
    assert (design.course, design.storm, design.swap) == ("late growth", True, False)
    assert (design.missing_visit, design.least_panels, design.panels) == (0.25, 1, 4)
    assert study("swap") == replace(STUDY, swap=True)
    assert study("two pools", SMALL) == replace(SMALL, course="two pools")


@pytest.mark.parametrize("name", ["", "linear", "late growth +", "late growth + seasonal", "Storm"])
def test_a_wrong_name_is_refused_with_the_names_that_are(name):
    with pytest.raises(CallError, match=r"allowed: .*(late growth, storm|one course)"):
        study(name)


def test_a_study_is_read_often_in_its_first_year_and_each_quarter_after():
    visits = np.array(schedule(36))
    assert 9 <= ((visits > 0) & (visits <= 12)).sum() <= 11
    np.testing.assert_array_equal(visits[visits > 12], np.arange(15, 37, 3))
    assert schedule(5) == (0, 1, 2, 3, 4, 5)
    design = sized(study("missing visits"), months=18, formulations=9, panels=5)
    assert design.visits == schedule(18)
    assert max(design.marks) == 36  # the truth goes beyond the readings
    assert (len(design.formulations), design.panels, design.missing_visit) == (9, 5, 0.25)
    assert max(sized(STUDY, months=48).visits) == max(sized(STUDY, months=48).marks) == 48


def test_missing_visits_are_missing():
    plain, thinned = (
        np.mean([
            campaign.exposure.readings["read_on"].nunique()
            for campaign in campaign_streams(course, 8, 2, replace(SMALL, weather=False))
        ])
        for course in ("seasonal", "seasonal + missing visits")
    )  # fmt: skip
    assert 0.7 * plain < thinned < 0.9 * plain


@pytest.fixture(scope="module")
def past():
    return precedents("late growth", 3, 5, SMALL)


@pytest.fixture(scope="module")
def running():
    return next(campaign_streams("late growth", 1, 5, SMALL)).exposure


def test_merging_keeps_every_row_and_states_a_site_once(past, running):
    both = merge([past, running])
    for name in ("panels", "readings", "events", "weather", "formulations"):
        assert len(getattr(both, name)) == len(getattr(past, name)) + len(getattr(running, name))
    assert len(both.sites) == len(running.sites) == 3
    for name, sheet in SHEETS.items():
        frame = getattr(both, name)
        assert not frame.duplicated(list(sheet.key)).any()
        assert frame.dtypes.to_dict() == getattr(running, name).dtypes.to_dict()
    same_again = merge([running, running])
    assert len(same_again.readings) == len(running.readings)


def test_merging_refuses_two_rows_of_one_name(running):
    other = next(campaign_streams("late growth", 1, 6, SMALL)).exposure
    with pytest.raises(CallError, match="AMARO-F1-1"):
        merge([running, other])
    with pytest.raises(CallError, match="one or more"):
        merge([])


def test_precedents_are_closed_years_before_and_met_years_of_their_own(past, running):
    assert past.panels["closed_on"].notna().all()
    assert past.panels["closed_on"].max() < running.panels["exposed_on"].min()
    per_site = past.panels.groupby("site")["exposed_on"].unique()
    for starts in per_site:
        assert len(starts) == 3
        gaps = np.diff(pd.DatetimeIndex(starts).sort_values())
        assert (gaps > pd.Timedelta(days=3 * 365)).all()
    assert set(past.formulations["formulation"]) == {f"P{k}F{i}" for k in (1, 2, 3) for i in (1, 2)}
    both = merge([past, running])
    found = campaigns(cube.build(both), both.weather, "solar_reflectance")
    assert len(found) == 3 * 4
    assert {one.formulations for one in found if one.site == "AMARO"} == {
        ("P1F1", "P1F2"), ("P2F1", "P2F2"), ("P3F1", "P3F2"), ("F1", "F2"),
    }  # fmt: skip
    firsts = both.readings.merge(both.panels, on="panel").groupby(["site", "exposed_on"])["value"]
    assert firsts.mean().nunique() == 12


@pytest.mark.parametrize("course", ["dirt and rain", "late growth + storm + unequal panels"])
def test_the_command_writes_a_folder_that_passes_the_check(course, tmp_path, capsys):
    folder = tmp_path / "trial"
    call = ["simulate", str(folder), "--course", course, "--seed", "3", "--months", "9"]
    assert app([*call, "--formulations", "3", "--panels", "2"]) == 0
    assert "invented" in capsys.readouterr().out
    assert app(["check", str(folder)]) == 0
    capsys.readouterr()
    result = intake.read(folder)
    assert result.findings == ()
    design = sized(study(course), months=9, formulations=3, panels=2)
    expected = simulate(design, 3)
    for name, frame in expected.exposure.frames():
        pd.testing.assert_frame_equal(frame, getattr(result.exposure, name), obj=name)
    truth = pd.read_csv(folder / "truth/truth.csv")
    pd.testing.assert_frame_equal(truth, expected.truth.round(5), check_dtype=False)
    assert truth["months"].max() == 36
    about = (folder / "ABOUT.txt").read_text(encoding="utf-8")
    assert "invented" in about
    assert f'aging simulate --course "{course}" --seed 3 --months 9 --formulations 3' in about


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--course", "sunshine"], "late growth"),
        (["--months", "0"], "--months"),
        (["--seed", "-1"], "--seed"),
        (["--course", "swap", "--formulations", "1"], "two or more"),
        ([], "not empty|new or an empty"),
    ],
)
def test_a_wrong_call_ends_in_one_line_and_writes_nothing(words, told, tmp_path, capsys):
    folder = tmp_path / "trial"
    folder.mkdir()
    if not words:
        (folder / "mine.txt").write_text("keep", encoding="utf-8")
    before = sorted(folder.iterdir())
    assert app(["simulate", str(folder), *words]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert any(part in error for part in told.split("|"))
    assert sorted(folder.iterdir()) == before


@pytest.mark.bench
@pytest.mark.parametrize("course", [*COURSES, *DISTURBANCES])
def test_a_study_can_afford_thousands(course):
    design = study(course)
    simulate(design, 0)
    spent = []
    for seed in range(9):
        began = time.process_time()
        simulate(design, seed)
        spent.append(time.process_time() - began)
    assert np.median(spent) < 0.060
