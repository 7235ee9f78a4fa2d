"""Projection of simulated campaigns whose later readings are known."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

import aging
from aging.decay.priors import priors_for
from aging.errors import CallError, ModelError, SourceError
from aging.projection import COLUMNS, movement
from aging.simulation import Design, simulate
from aging.vocabulary import PROPERTIES

DESIGN = Design()
CAMPAIGN = simulate(DESIGN, seed=11)
FEW = Design(formulations=DESIGN.formulations[:2], sites=DESIGN.sites[:2], months=12)
SMALL = simulate(FEW, seed=3)
VALUES = SMALL.exposure.readings["value"]


def as_of(exposure, months):
    """The last day on which every site has been exposed for at most `months`."""
    starts = pd.to_datetime(exposure.panels.loc[exposure.panels["kind"] == "exposed", "exposed_on"])
    return starts.min() + pd.Timedelta(days=(months + 0.5) * 30.44)


@pytest.fixture(scope="module")
def year_one():
    return aging.fit(CAMPAIGN.exposure, as_of=as_of(CAMPAIGN.exposure, 12))


@pytest.fixture(scope="module")
def small():
    return aging.fit(SMALL.exposure)


def test_the_frame_is_tidy_and_its_intervals_are_ordered(year_one):
    frame = year_one.project([12, 36], level=0.8).frame
    assert tuple(frame.columns) == COLUMNS
    assert len(frame) == 2 * 2 * 6 * 4  # times, targets, formulations, sites and their mean
    assert (frame["lower"] < frame["estimate"]).all()
    assert (frame["estimate"] < frame["upper"]).all()
    assert set(frame["site"]) == {"AMARO", "DRYWELL", "KESTREL", "all"}
    assert set(frame["level"]) == {0.8}
    late = frame.query("months == 36 and site != 'all'")
    assert set(late["status"]) == {"projected"}
    assert late["notes"].str.contains("times as far as was read").all()
    assert late["notes"].str.contains("[23] winters").all()


def test_a_reading_is_less_certain_than_the_state_and_a_higher_level_wider(year_one):
    def width(level, target):
        rows = year_one.project(36, level).frame
        rows = rows[rows["target"] == target]
        return (rows["upper"] - rows["lower"]).to_numpy()

    assert (width(0.9, "reading") > width(0.9, "state") * 0.97).all()
    assert (width(0.95, "state") > width(0.8, "state")).all()


def test_the_mean_over_sites_is_that_of_joint_draws(year_one):
    """However skewed they are: its estimate and ends are quantiles of the draws' own means."""
    drawn = year_one.draws([36.0])
    mean = np.mean([its["state"][0] for (_, name), its in drawn.items() if name == "S8H0"], axis=0)
    rows = year_one.project(36).frame.query("site == 'all' and formulation == 'S8H0'")
    told = rows.query("target == 'state'").iloc[0]
    assert told[["lower", "estimate", "upper"]].tolist() == pytest.approx(
        np.quantile(mean, [0.05, 0.5, 0.95]).tolist()
    )


def test_the_mean_over_sites_is_the_mean_of_the_sites(year_one):
    rows = year_one.project(24).frame.query("target == 'state' and formulation == 'S8H0'")
    sites = rows.query("site != 'all'")
    mean = rows.query("site == 'all'").iloc[0]
    assert mean["estimate"] == pytest.approx(sites["estimate"].mean(), abs=0.004)
    widths = sites["upper"] - sites["lower"]
    independent = np.sqrt((widths**2).sum()) / 3
    assert mean["upper"] - mean["lower"] == pytest.approx(independent, rel=0.15)
    assert mean["n_panels"] == 9


def test_the_same_readings_give_the_same_digits(year_one):
    again = aging.fit(CAMPAIGN.exposure, as_of=as_of(CAMPAIGN.exposure, 12))
    pd.testing.assert_frame_equal(again.project(36).frame, year_one.project(36).frame)


def test_what_has_been_read_is_not_called_a_projection():
    frame = aging.project(CAMPAIGN.exposure, months=[6, 36, 48]).frame
    status = frame.query("site == 'AMARO' and target == 'state' and formulation == 'S0H0'")
    assert status["status"].tolist() == ["already measured", "already measured", "projected"]


def test_later_readings_fall_inside_their_intervals():
    """Nominal 90 %: reading of the formulation mean at 36 months, seen from 12 and 18 months."""
    inside, errors, lasts = [], [], []
    for seed in range(8):
        campaign = simulate(DESIGN, seed=100 + seed)
        truth = campaign.truth.query("months == 36 and property == 'solar_reflectance'")
        for months in (12, 18):
            frame = aging.project(campaign.exposure, as_of=as_of(campaign.exposure, months)).frame
            frame = frame.query("target == 'reading'").merge(truth, on=["site", "formulation"])
            inside += frame["reading"].between(frame["lower"], frame["upper"]).tolist()
            errors += (frame["estimate"] - frame["reading"]).abs().tolist()
            lasts += last_values(campaign.exposure, months, frame).tolist()
    assert len(inside) == 8 * 2 * 18
    assert np.mean(inside) >= 0.85
    assert np.mean(errors) < 0.75 * np.mean(lasts)


def last_values(exposure, months, frame):
    """Error of carrying the last value forward."""
    seen = exposure.readings.merge(exposure.panels[["panel", "site", "formulation", "kind"]])
    seen = seen[(seen["kind"] == "exposed") & (seen["surface_state"] == "as_exposed")]
    seen = seen[pd.to_datetime(seen["read_on"].str[:10]) <= as_of(exposure, months)]
    means = seen.groupby(["site", "formulation", "read_on"])["value"].mean()
    last = means.groupby(["site", "formulation"]).last().rename("last").reset_index()
    merged = frame[["site", "formulation", "reading"]].merge(last)
    return (merged["last"] - merged["reading"]).abs()


def test_one_visit_is_no_projection_and_says_so():
    frame = aging.project(SMALL.exposure, as_of=as_of(SMALL.exposure, 0.2)).frame
    assert set(frame["status"]) == {"cannot project"}
    assert frame[["estimate", "lower", "upper", "one_sided_bound"]].isna().all(axis=None)
    assert frame["notes"].str.contains("no time between its first and last reading").all()
    frame = aging.compare(SMALL.exposure, as_of=as_of(SMALL.exposure, 0.2)).frame
    assert frame[["estimate", "lower", "upper", "probability_better"]].isna().all(axis=None)


def test_an_upper_end_at_one_site_stands_where_the_table_asks(small, tmp_path):
    table = pd.read_csv(str(files("aging.decay") / "priors.csv"))
    table.loc[table["quantity"] == "upper_half", "value"] = 0.5
    table.to_csv(tmp_path / "priors.csv", index=False)
    half = aging.fit(SMALL.exposure, priors=tmp_path / "priors.csv")
    for fitted, asked in ((small, 0.85), (half, 0.5)):
        draws = fitted.draws([36])
        for level in (0.5, 0.9):
            nearer = norm.cdf(asked * norm.ppf((1 + level) / 2))
            frame = fitted.project(36, level).frame.query("site != 'all'")
            for row in frame.itertuples():
                drawn = draws[row.site, row.formulation][row.target][0]
                ends = np.quantile(drawn, [(1 - level) / 2, 0.5, nearer])
                assert (row.lower, row.estimate, row.upper) == pytest.approx(ends, abs=1e-12)
    same = ["estimate", "lower", "one_sided_bound"]
    before, after = (one.project(36).frame for one in (small, half))
    assert after[same].equals(before[same])
    together = before["site"] == "all"
    assert after[together].equals(before[together])
    cool, warm = (
        one.told_as("surface_temperature").project(36).frame[~together] for one in (small, half)
    )
    assert warm["upper"].equals(cool["upper"])
    assert (warm["lower"] > cool["lower"]).all()
    moved = movement(half, 36).query("site != 'all' and target == 'state'")
    last = moved.groupby(["site", "formulation"]).last()
    assert (last["upper"] - last["estimate"] < 0.6 * (last["estimate"] - last["lower"])).all()


def test_the_one_sided_bound_lies_on_the_worse_side(small):
    at_90, at_80 = (small.project(36, level).frame for level in (0.9, 0.8))
    assert (at_90["one_sided_bound"] == at_80["lower"]).all()
    assert (at_90["lower"] < at_90["one_sided_bound"]).all()
    yellow = aging.fit(
        replace(
            SMALL.exposure,
            readings=SMALL.exposure.readings.assign(
                property="yellowness_index", unit="1", value=20 - 20 * VALUES
            ),
        ),
        "yellowness_index",
    )
    at_90, at_80 = (yellow.project(12, level).frame for level in (0.9, 0.8))
    assert (at_90["one_sided_bound"] == at_80["upper"]).all()


def test_no_interval_leaves_what_the_property_can_be():
    glossy = SMALL.exposure.readings.assign(
        property="gloss_60", unit="GU", value=(3 - 25 * (0.85 - VALUES)).clip(lower=0)
    )
    fitted = aging.fit(replace(SMALL.exposure, readings=glossy), "gloss_60")
    frame = fitted.project([12, 36]).frame
    assert frame["lower"].min() == 0
    assert (frame.query("months == 12")["upper"] > 0).all()
    share = fitted.project(12, retention=True).frame
    assert share["lower"].min() == 0
    assert np.isfinite(share["upper"]).all()


def test_an_interval_too_wide_to_use_is_not_shown():
    readings = SMALL.exposure.readings.assign(property="lightness", unit="1", value=100 * VALUES)
    early = as_of(SMALL.exposure, 2)
    frame = aging.project(
        replace(SMALL.exposure, readings=readings), [2, 36], as_of=early, property="lightness"
    ).frame
    assert set(frame.query("months == 36")["status"]) == {"cannot project"}
    assert frame.query("months == 36")["notes"].str.contains("90 % interval would span").all()
    assert frame.query("months == 36")["estimate"].isna().all()
    assert frame.query("months == 2")["estimate"].notna().all()


def test_what_is_asked_for_is_checked_before_anything_is_read(tmp_path):
    with pytest.raises(CallError, match="0 to 240"):
        aging.project(tmp_path / "nowhere", months=[12, 300])
    with pytest.raises(CallError, match="level"):
        aging.project(tmp_path / "nowhere", level=0)
    with pytest.raises(CallError, match="ratio scale"):
        aging.project(tmp_path / "nowhere", property="lightness", retention=True)


def test_a_day_before_the_first_reading_is_told_with_that_reading():
    with pytest.raises(CallError, match=r"as_of: 2020-02-01 .* first reading, of 2021-04-06"):
        aging.project(SMALL.exposure, as_of="2020-02-01")


def test_a_wrong_call_says_what_is_allowed(tmp_path):
    with pytest.raises(CallError, match="solar_reflectance"):
        aging.project(CAMPAIGN.exposure, property="albedo")
    with pytest.raises(CallError, match="not ratings"):
        aging.project(CAMPAIGN.exposure, property="growth")
    with pytest.raises(CallError, match="0 to 240"):
        aging.project(CAMPAIGN.exposure, months=-1)
    with pytest.raises(CallError, match="level"):
        aging.project(CAMPAIGN.exposure, level=90)
    with pytest.raises(CallError, match="ISO date"):
        aging.project(CAMPAIGN.exposure, as_of="last spring")
    with pytest.raises(ModelError, match="properties read: solar_reflectance"):
        aging.project(CAMPAIGN.exposure, property="gloss_60")
    with pytest.raises(SourceError, match="no such"):
        aging.project(tmp_path / "nowhere")


def test_priors_are_data_and_are_printed(tmp_path, year_one):
    shown = year_one.project(36).priors
    assert {"quantity", "value", "spread", "unit", "source"} <= set(shown.columns)
    assert shown["source"].str.len().gt(0).all()
    table = shown.assign(property="solar_reflectance", time="month")
    table.loc[table["quantity"] == "loss", ["value", "spread"]] = [0.05, 0.001]
    table.to_csv(tmp_path / "mine.csv", index=False)
    moment = as_of(CAMPAIGN.exposure, 1)
    mine = (
        aging.fit(CAMPAIGN.exposure, as_of=moment, priors=tmp_path / "mine.csv").project(36).frame
    )
    usual = aging.fit(CAMPAIGN.exposure, as_of=moment).project(36).frame
    assert mine["estimate"].mean() > usual["estimate"].mean() + 0.03
    table.drop(columns="spread").to_csv(tmp_path / "broken.csv", index=False)
    with pytest.raises(SourceError, match="spread"):
        aging.fit(CAMPAIGN.exposure, priors=tmp_path / "broken.csv")
    table[table["quantity"] != "rate"].to_csv(tmp_path / "short.csv", index=False)
    with pytest.raises(SourceError, match="rate"):
        aging.fit(CAMPAIGN.exposure, priors=tmp_path / "short.csv")


def test_priors_follow_the_climate_and_are_the_usual_ones_elsewhere():
    every = {name: priors_for(PROPERTIES["solar_reflectance"], climate=name)
             for name in ("hot-dry", "temperate", "hot-humid", "*", "polar")}  # fmt: skip
    losses = [its.value("loss") for its in every.values()]
    assert losses[0] < losses[1] < losses[2]
    assert 2 <= losses[2] / losses[0] <= 3  # Sleiman et al. 2011: Florida against Arizona
    assert every["polar"].table.equals(every["*"].table)
    assert priors_for(PROPERTIES["gloss_60"], climate="hot-dry").value("late_share") == 0.15


def test_priors_of_other_properties_follow_their_usual_band():
    yellow = priors_for(PROPERTIES["yellowness_index"])
    assert yellow.value("loss") < 0 < yellow.spread("loss")
    assert priors_for(PROPERTIES["gloss_60"]).value("loss") == 0
    lightness = priors_for(PROPERTIES["lightness"])
    assert lightness.value("initial") == pytest.approx(40 + 0.5 * 59)
    with pytest.raises(CallError, match="per day"):
        priors_for(replace(PROPERTIES["gloss_60"], name="nothing"), "day")
