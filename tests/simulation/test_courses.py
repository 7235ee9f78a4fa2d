"""Each course does what its name says, and disturbances show where they should and nowhere else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from aging.climate.soiling import dryness
from aging.simulation import COURSES, STUDY, Scatter, courses, simulate

SITE = {"AMARO": "hot-humid", "DRYWELL": "hot-dry", "KESTREL": "temperate-urban"}
MONTHLY = replace(STUDY, marks=tuple(range(37)), weather=False)
KEY = ["site", "formulation", "months"]
PLAIN = replace(STUDY, missing_visit=0, missing_reading=0, weather=False)
SEED = 3


def state(course: str, seed: int = SEED) -> pd.DataFrame:
    """By site and formulation, a column a month."""
    truth = simulate(replace(MONTHLY, course=course), seed).truth
    truth = truth[truth["months"].isin(MONTHLY.marks)]
    return truth.pivot_table(index=KEY[:2], columns="months", values="state")


@pytest.fixture(scope="module")
def plateau():
    return state("exponential")


@pytest.mark.parametrize(
    "shape",
    [
        lambda t: courses.exponential(t, 0.15),
        lambda t: courses.stretched(t, 0.15, 0.65),
        lambda t: courses.two_pools(t, 0.3, 0.5, 0.03),
        lambda t: courses.power_of_time(t, 0.5),
        lambda t: courses.late_growth(t, 20, 2) - courses.late_growth(0, 20, 2),
    ],
)
def test_a_share_starts_at_nothing_and_only_rises(shape):
    share = shape(np.linspace(0, 72, 500))
    assert share[0] == 0
    assert (np.diff(share) > 0).all()


def test_shapes_have_their_known_values():
    assert courses.exponential(1 / 0.15, 0.15) == pytest.approx(1 - np.exp(-1))
    assert courses.stretched(1 / 0.15, 0.15, 0.6) == pytest.approx(1 - np.exp(-1))
    assert courses.two_pools(1e6, 0.3, 0.4, 0.0) == pytest.approx(0.4)
    assert courses.power_of_time(9.0, 0.5) == pytest.approx(0.5)
    assert courses.late_growth(20.0, 20, 2) == pytest.approx(1 / (1 + np.exp(2)))
    assert courses.late_growth(24.0, 20, 2) == pytest.approx(0.5)


@pytest.mark.parametrize("course", ["stretched exponential", "two pools", "power of time"])
def test_shapes_differ_on_the_way_and_agree_at_the_horizon(course, plateau):
    gap = state(course) - plateau
    np.testing.assert_allclose(gap[36], 0, atol=1e-4)  # day 1096 is not quite 36 months
    late = gap[[18, 21, 24, 27, 30]].to_numpy()
    assert (late > 0).mean() > 0.9  # more of the loss is still to come than a plateau lets expect
    assert gap.abs().max(axis=1).min() > 0.003


@pytest.mark.parametrize("seed", [3, 4])
def test_a_season_swings_by_the_year_and_grows_in(seed):
    gap = state("seasonal", seed) - state("exponential", seed)
    same = gap.groupby("site").agg(np.ptp) < 1e-9  # weather, not formulation
    assert same.all(axis=None)
    swing = gap.groupby("site").first()
    np.testing.assert_allclose(swing[24] - swing[12], 0, atol=0.003)
    np.testing.assert_allclose(swing[range(25, 37)].sum(axis=1), 0, atol=1e-3)
    height = np.ptp(swing[range(24, 37)], axis=1) / 2
    assert ((height > 0.0095) & (height < 0.031)).all()
    assert (swing[0] == 0).all()
    assert swing[36].nunique() == 3  # each site has its own phase


def test_growth_comes_late_and_only_where_it_is_damp(plateau):
    loss = plateau - state("late growth")
    climate = loss.index.get_level_values("site").map(SITE)
    humid, dry, urban = (loss[climate == name] for name in SITE.values())
    assert (dry == 0).all(axis=None)
    assert (humid[range(13)] < 0.006).all(axis=None)
    assert (humid[36] > 0.02).all()
    assert humid[36].mean() - humid[15].mean() > 0.03
    assert urban[36].mean() < 0.5 * humid[36].mean()


@pytest.mark.parametrize("course", COURSES[1:])
def test_losses_are_of_a_plausible_size(course):
    truth = pd.concat(
        simulate(replace(STUDY, course=course, weather=False), seed).truth for seed in range(12)
    )
    table = truth.pivot_table(index=truth["site"].map(SITE), columns="months", values="state")
    loss = table[0.0] - table[36.0]
    extra = 0.07 if course == "late growth" else 0.0
    assert loss["hot-humid"] == pytest.approx(0.24 + extra, abs=0.03)
    assert loss["hot-dry"] == pytest.approx(0.14, abs=0.03)
    assert loss["temperate-urban"] == pytest.approx(0.20 + 0.25 * extra, abs=0.03)
    assert table[0.0].to_numpy() == pytest.approx(0.84, abs=0.015)
    assert truth["reading"].between(0.25, 0.92).all()


def test_a_dry_spell_darkens_and_rain_lifts():
    quiet = replace(STUDY.scatter, visit=0.0)
    design = replace(PLAIN, course="two pools", scatter=quiet, weather=True, visits=(0, 36))
    design = replace(design, marks=MONTHLY.marks)
    campaign = simulate(design, SEED)
    starts = pd.to_datetime(campaign.exposure.panels.groupby("site")["exposed_on"].first())
    truth = campaign.truth.query("3 < months < 36")
    for site, rows in truth.groupby("site"):
        weather = campaign.exposure.weather.query("site == @site")
        days = starts[site] + pd.to_timedelta((rows["months"] * 30.44).round(), unit="D")
        dry = dryness(weather).reindex(days).to_numpy()
        dip = (rows["state_of_panels"] - rows["reading"]).to_numpy()
        assert np.corrcoef(dry, dip)[0, 1] > 0.7
        assert np.ptp(dip) > 0.008
        assert np.abs(dip).max() < 0.03


@pytest.mark.parametrize("course", ["dirt and rain", "two pools"])
def test_a_storm_darkens_all_panels_of_a_site_at_exactly_one_visit(course):
    calm = simulate(replace(PLAIN, course=course), SEED)
    hit = simulate(replace(PLAIN, course=course, storm=True), SEED)
    both = calm.exposure.readings.merge(hit.exposure.readings, on="reading_id")
    assert len(both) == len(calm.exposure.readings) == 3 * 6 * 3 * len(PLAIN.visits)
    site = both["panel_x"].str.partition("-")[0]
    darker = (both["value_x"] - both["value_y"]).groupby([site, both["read_on_x"]])
    sizes = darker.mean()
    struck = sizes[sizes != 0]
    assert struck.groupby(level=0).size().to_dict() == dict.fromkeys(SITE, 1)
    assert struck.between(0.039, 0.091).all()
    assert (darker.max() - darker.min()).max() < 0.0011  # all panels alike, but for rounding
    marks = ~calm.truth["visited"]
    pd.testing.assert_series_equal(calm.truth["reading"][marks], hit.truth["reading"][marks])


def test_a_swap_exchanges_two_panels_of_a_site_at_one_visit():
    right = simulate(replace(PLAIN, course="two pools"), SEED)
    wrong = simulate(replace(PLAIN, course="two pools", swap=True), SEED)
    pd.testing.assert_frame_equal(right.truth, wrong.truth)
    both = right.exposure.readings.merge(wrong.exposure.readings, on="reading_id")
    both["site"] = both["panel_x"].str.partition("-")[0]
    moved = both[both["value_x"] != both["value_y"]]
    assert set(moved["site"]) == set(SITE)
    for _, pair in moved.groupby("site"):
        one, other = pair.itertuples()
        assert one.read_on_x == other.read_on_x
        assert one.panel_x.split("-")[1] != other.panel_x.split("-")[1]
        assert one.value_y == pytest.approx(other.value_x, abs=0.02)  # spot noise stays
        assert other.value_y == pytest.approx(one.value_x, abs=0.02)


@pytest.mark.parametrize("course", COURSES)
def test_truth_is_the_mean_of_the_panels_that_hang(course):
    design = replace(PLAIN, course=course, panels=4, least_panels=1)
    campaign = simulate(replace(design, scatter=replace(design.scatter, spot=0.0)), SEED)
    panels = campaign.exposure.panels
    counts = panels.groupby(["site", "formulation"]).size()
    assert len(counts) == 18
    assert set(counts) == {1, 2, 3, 4}
    read = campaign.exposure.readings.merge(panels, on="panel")
    days = pd.to_datetime(read["read_on"]) - pd.to_datetime(read["exposed_on"])
    read["months"] = (days.dt.days / 30.44).round(2)
    truth = campaign.truth.query("visited").set_index(KEY)["reading"]
    mean = read.groupby(KEY)["value"].mean()
    assert len(truth) == len(mean)
    np.testing.assert_allclose(truth, mean.reindex(truth.index), atol=0.00051)


def test_without_scatter_panels_are_alike():
    none = Scatter(
        batch_initial=0, site_soiling=0, interaction=0, panel_initial=0, panel_soiling=0, visit=0,
        rate=0, drift=0, spot=0,
    )  # fmt: skip
    campaign = simulate(replace(PLAIN, course="stretched exponential", scatter=none), SEED)
    np.testing.assert_allclose(campaign.truth["state"], campaign.truth["state_of_panels"])
    start = campaign.truth.query("months == 0")["state"]
    np.testing.assert_allclose(start, 0.84)


def test_other_properties_follow_a_closed_form_too():
    design = replace(
        PLAIN, course="late growth", properties=("growth", "lightness"), washed=(24, 36), sparse=1
    )
    campaign = simulate(design, SEED)
    last = campaign.truth.query("months == 36").set_index(["property", "site", "formulation"])
    grown, light = last.loc["growth", "state"], last.loc["lightness", "state"]
    assert grown["AMARO"].max() < 9.5
    assert grown["DRYWELL"].min() == pytest.approx(10)
    assert light["AMARO"].mean() < light["DRYWELL"].mean() - 3
    wide = campaign.exposure.readings.query("property == 'lightness'").pivot_table(
        index=["panel", "read_on"], columns="surface_state", values="value"
    )
    assert (wide["washed"] - wide["as_exposed"]).dropna().gt(0).all()


def test_nothing_gets_darker_than_dirt():
    heavy = replace(STUDY.scatter, site_soiling=2.0, panel_soiling=1.0)
    truth = simulate(replace(PLAIN, course="late growth", scatter=heavy), 1).truth
    assert truth["state"].min() > 0.12  # dirt 0.20, less what sunlight takes besides
