"""Nothing later than a cut is known to a forecast, and the board counts as a person would."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

import aging
from aging.backtesting import MODEL
from aging.backtesting.board import Backtest, scored
from aging.backtesting.origins import origins
from aging.decay.posterior import DRAWS
from aging.decay.scores import wilson
from aging.errors import CallError, ModelError
from aging.projection import gather, posterior
from aging.simulation import STUDY, campaign_streams, coats, merge, precedents
from aging.vocabulary import DAYS_PER_MONTH

DESIGN = replace(STUDY, sites=STUDY.sites[:2], formulations=coats(4))
CUTS = (6, 12)
QUICK = ("last value", "exponential")


def simulated(course, n, seed):
    return [one.exposure for one in campaign_streams(course, n, seed, DESIGN)]


@pytest.fixture(scope="module")
def exposure():
    return simulated("dirt and rain", 1, 4)[0]


@pytest.fixture(scope="module")
def found(exposure):
    return aging.backtest(exposure, cuts=CUTS, draws=400)


def test_a_cut_hides_whole_visits(exposure):
    for campaign in gather(exposure).campaigns:
        months = campaign.readings.months
        for one in origins(campaign, CUTS):
            assert one.past.months.max() <= one.cut + 0.5 < one.ahead.min()
            assert one.past.group.size == 12
            assert one.past.months.size == (months <= one.cut + 0.5).sum()
            assert one.months.size + one.ahead.size == months.size
            later = campaign.readings.values[:, months > one.cut + 0.5]  # noqa: PD011
            for group in one.groups:
                own = later[campaign.readings.group == group]
                assert one.later[group] == pytest.approx(np.nanmean(own, axis=0))


def test_later_readings_do_not_move_a_forecast(exposure, found):
    starts = exposure.panels.set_index("panel")["exposed_on"]
    read = pd.to_datetime(exposure.readings["read_on"].str[:10])
    since = read - pd.to_datetime(exposure.readings["panel"].map(starts))
    late = since.dt.days / DAYS_PER_MONTH > 6.6
    assert 0.3 < late.mean() < 1
    value = exposure.readings["value"].mask(late, exposure.readings["value"] * 0.7)
    changed = replace(exposure, readings=exposure.readings.assign(value=value))
    again = aging.backtest(changed, cuts=[6], draws=400).scores
    before = found.scores[found.scores["cut"] == 6].reset_index(drop=True)
    assert again["observed"].to_numpy() == pytest.approx(0.7 * before["observed"].to_numpy())
    columns = ["site", "formulation", "months", "forecaster", "estimate", "lower", "upper"]
    same = [*columns, "bound_05", "missing"]
    pd.testing.assert_frame_equal(again[same], before[same], check_exact=True)


def test_the_model_forecasts_as_fit_and_project_would(exposure):
    bare = replace(exposure, weather=exposure.weather.iloc[:0])
    rows = aging.backtest(bare, cuts=[12], rivals=(), draws=400).scores
    campaign = gather(bare).campaigns[0]
    end = campaign.exposed_on + pd.Timedelta(days=12.5 * DAYS_PER_MONTH)
    then = gather(bare, as_of=end)
    same = then.campaigns[0]
    rows = rows[rows["site"] == same.site]
    last = rows[rows["months"] == rows["months"].max()].set_index("formulation")
    priors = then.priors(same)
    reading = posterior(same, priors, draws=400).at([last["months"].iloc[0]])[1][0]
    nearer = norm.cdf(priors.value("upper_half") * norm.ppf(0.95))
    ends = np.quantile(reading, [0.05, 0.5, nearer], axis=0).T
    shown = last.loc[list(same.formulations), ["lower", "estimate", "upper"]]
    assert shown.to_numpy() == pytest.approx(ends, abs=1e-9)


def test_campaigns_closed_by_then_teach_the_priors_and_later_ones_do_not():
    small = replace(DESIGN, sites=DESIGN.sites[:1], formulations=coats(3))
    [running] = campaign_streams("dirt and rain", 1, 4, small)
    whole = merge([running.exposure, precedents("dirt and rain", 1, 4, small)])
    whole = replace(whole, weather=whole.weather.iloc[:0])
    rows = aging.backtest(whole, cuts=[6], rivals=(), draws=DRAWS).scores
    start = rows["campaign"].max()
    rows = rows[rows["campaign"] == start]
    end = pd.Timestamp(start) + pd.Timedelta(days=6.5 * DAYS_PER_MONTH)
    then = aging.fit(whole, as_of=end)
    assert any("closed campaign" in note for note in then.notes)
    last = rows[rows["months"] == rows["months"].max()].set_index("formulation")
    projected = then.project(float(last["months"].iloc[0])).frame.query("target == 'reading'")
    projected = projected[projected["site"] != "all"].set_index("formulation").loc[last.index]
    ends = ["lower", "estimate", "upper"]
    assert last[ends].to_numpy() == pytest.approx(projected[ends].to_numpy(), abs=1e-9)

    panels = whole.panels
    still_open = replace(whole, panels=panels.assign(
        closed_on=panels["closed_on"].mask(panels["closed_on"].notna(), "2099-01-01")
    ))  # fmt: skip
    alone = aging.backtest(still_open, cuts=[6], rivals=(), draws=DRAWS).scores
    alone = alone[alone["campaign"] == start]
    assert (alone[ends] - rows[ends]).abs().to_numpy().max() > 0.003


def test_every_forecaster_is_scored_on_every_later_mean(exposure, found):
    assert len(found.scores["forecaster"].cat.categories) == 7
    for _, part in found.scores.groupby("cut"):
        counts = part["forecaster"].value_counts()
        assert counts.min() == counts.max() > 0
    assert (found.scores["horizon"] > 0.5).all()
    assert found.scores["horizon"].to_numpy() == pytest.approx(
        (found.scores["months"] - found.scores["cut"]).to_numpy()
    )
    control = exposure.formulations.query("role == 'control'")["formulation"].iloc[0]
    told = found.scores[found.scores["missing"] == "is the control"]
    assert set(told["formulation"]) == {control}
    ends = found.scores.dropna(subset=["lower"])
    assert (ends["lower"] <= ends["estimate"]).all()
    assert (ends["estimate"] <= ends["upper"]).all()
    assert ends.loc[ends["forecaster"] != MODEL, "upper"].max() <= 1


def tiny():
    """Two series: the first forecast twice (one miss below), the second once, one not made."""
    rows = [
        ("A", "f", 7.0, 0.70, 0.72, 0.68, 0.76, "", 0.01),
        ("A", "f", 13.0, 0.60, 0.70, 0.65, 0.75, "", 0.05),
        ("B", "f", 20.0, 0.50, 0.46, 0.40, 0.52, "", 0.03),
        ("B", "g", 20.0, 0.50, np.nan, np.nan, np.nan, "did not converge", np.nan),
    ]
    names = ["site", "formulation", "months", "observed", "estimate", "lower", "upper", "missing",
             "crps"]  # fmt: skip
    frame = pd.DataFrame(rows, columns=names).assign(
        campaign="2024-01-01", cut=6.0, forecaster="walk", bound_05=lambda f: f["lower"]
    )
    return Backtest(
        scored(frame.assign(horizon=frame["months"] - 6), 0.9, ["walk"]),
        "solar_reflectance",
        0.9,
        (),
    )


def test_the_board_is_what_a_hand_computes():
    [row] = tiny().board.to_dict("records")
    assert (row["n_series"], row["n_forecasts"], row["n_missing"]) == (2, 3, 1)
    assert row["coverage"] == pytest.approx(2 / 3)
    assert row["below"] == pytest.approx(1 / 3)
    assert row["bias"] == pytest.approx((0.02 + 0.10 - 0.04) / 3)
    assert row["abs_error"] == pytest.approx((0.02 + 0.10 + 0.04) / 3)
    assert row["crps"] == pytest.approx(0.03)
    assert row["interval_score"] == pytest.approx((0.08 + (0.10 + 20 * 0.05) + 0.12) / 3)
    assert row["pinball_05"] == pytest.approx((0.05 * 0.02 + 0.95 * 0.05 + 0.05 * 0.10) / 3)


def test_the_range_of_a_coverage_counts_series_and_not_readings():
    [row] = tiny().board.to_dict("records")
    assert (row["coverage_lower"], row["coverage_upper"]) == pytest.approx(wilson(2 / 3, 2))
    assert row["coverage_lower"] < wilson(2 / 3, 3)[0]


def test_the_board_can_be_cut_by_horizon_site_and_formulation():
    by_band = tiny().by("band")
    assert by_band["band"].tolist() == ["up to 6", "6 to 12", "12 to 24"]
    assert by_band["coverage"].tolist() == [1, 0, 1]
    by_series = tiny().by("site", "formulation").set_index(["site", "formulation"])
    assert by_series.loc[("B", "g"), "n_missing"] == 1
    assert np.isnan(by_series.loc[("B", "g"), "coverage"])
    assert by_series.loc[("A", "f"), "n_series"] == 1
    with pytest.raises(CallError, match="formulation"):
        tiny().by("weather")


@pytest.mark.parametrize("course", ["dirt and rain", "stretched exponential"])
def test_the_model_beats_its_rivals_on_campaigns_of_other_make(course):
    scores = pd.concat(
        [aging.backtest(e, cuts=[12], rivals=QUICK, draws=400).scores
         for e in simulated(course, 3, 40)]
    )  # fmt: skip
    late = scores[scores["horizon"] > 12]
    error, crps = (
        late.groupby("forecaster", observed=True)[c].mean() for c in ("abs_error", "crps")
    )
    assert error[MODEL] < 0.85 * error[list(QUICK)].min()
    assert crps[MODEL] < 0.85 * crps[list(QUICK)].min()
    assert late.loc[late["forecaster"] == MODEL, "inside"].mean() > 0.75


def test_a_horizon_and_a_level_are_kept(exposure):
    found = aging.backtest(exposure, cuts=[12], level=0.5, horizon=9, rivals=QUICK, draws=400)
    assert found.scores["horizon"].max() <= 9
    assert set(found.scores["level"]) == {0.5}
    rows = found.scores
    assert (rows["bound_05"] < rows["lower"]).all()
    assert found.board["coverage"].max() < 1


def test_progress_is_told(exposure):
    told = []
    aging.backtest(
        exposure, cuts=[24], rivals=(), draws=100, on_progress=lambda *at: told.append(at)
    )
    assert told == [(1, 2), (2, 2)]


def test_a_wrong_call_says_what_is_allowed(exposure):
    with pytest.raises(CallError, match="cuts"):
        aging.backtest(exposure, cuts=[])
    with pytest.raises(CallError, match="level"):
        aging.backtest(exposure, level=90)
    with pytest.raises(CallError, match="horizon"):
        aging.backtest(exposure, horizon=-1)
    with pytest.raises(CallError, match="last value"):
        aging.backtest(exposure, rivals=["oracle"])
    with pytest.raises(ModelError, match="earlier cuts"):
        aging.backtest(exposure, cuts=[60])
