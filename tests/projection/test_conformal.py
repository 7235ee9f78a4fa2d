"""The conformal factor: its rank, and what a ledger's past does to a running trial's intervals."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files

import numpy as np
import pandas as pd
import pytest

import aging
from aging.projection.conformal import LEAST, factor
from aging.simulation import campaign_streams, merge, precedents
from aging.simulation.scenario import coats
from aging.simulation.study import STUDY, schedule


def test_factor_is_the_order_statistic_that_split_conformal_asks_for():
    scores = np.random.default_rng(3).permutation(np.arange(1, 100) / 50)
    assert factor(scores) == pytest.approx(90 / 50)  # rank ceil(100 x 0.9) of 99


def test_factor_makes_later_misses_hold_with_its_level():
    random = np.random.default_rng(5)
    held = [
        abs(random.standard_t(4)) <= factor(np.abs(random.standard_t(4, 40))) for _ in range(2000)
    ]
    assert 0.88 < np.mean(held) < 0.94  # ceil(41 x 0.9) / 41 = 0.902


def test_few_series_leave_the_model_alone():
    assert factor(np.full(LEAST - 1, 9.0)) == 1.0


@pytest.fixture(scope="module")
def trials():
    small = replace(STUDY, formulations=coats(4), panels=2, visits=schedule(36))
    running = next(iter(campaign_streams("dirt and rain", 1, 7, small)))
    return running, precedents("dirt and rain", 2, 9, small)


def test_a_ledger_with_a_past_scales_its_intervals_and_says_so(trials):
    running, past = trials
    start = pd.to_datetime(running.exposure.panels["exposed_on"]).min()
    as_of = start + pd.Timedelta(days=12.5 * 30.44)
    fitted = aging.fit(merge([past, running.exposure]), as_of=as_of)
    note = next(text for text in fitted.notes if "times the model" in text)
    assert "24 closed series cut at 12 months" in note
    told = float(note.removeprefix("intervals are ").split(" ")[0])
    factors = {one.posterior.stretch for one in fitted.series if one.formulation.startswith("F")}
    assert [round(one, 2) for one in factors] == [told]


def test_the_past_is_held_against_the_ends_that_are_told(trials, tmp_path):
    """Ends nearer to the median are passed by more of their length, and scaled up for it."""
    running, past = trials
    table = pd.read_csv(str(files("aging.decay") / "priors.csv"))
    start = pd.to_datetime(running.exposure.panels["exposed_on"]).min()
    told = []
    for half in (1.0, 0.25):
        table.loc[table["quantity"] == "upper_half", "value"] = half
        table.to_csv(tmp_path / "priors.csv", index=False)
        fitted = aging.fit(
            merge([past, running.exposure]), as_of=start + pd.Timedelta(days=12.5 * 30.44),
            priors=tmp_path / "priors.csv",
        )  # fmt: skip
        told += {one.posterior.stretch for one in fitted.series if one.formulation.startswith("F")}
    assert told[1] > 1.2 * told[0]


def test_a_stretch_widens_about_the_median(trials):
    running, _ = trials
    fitted = aging.fit(running.exposure)
    its = fitted.series[0].posterior
    before, after = its.at([36.0])[1], replace(its, stretch=1.5).at([36.0])[1]
    assert np.allclose(np.median(after, axis=1), np.median(before, axis=1))
    assert np.allclose(np.ptp(after, axis=1), 1.5 * np.ptp(before, axis=1))
    assert any("19 are needed" in text for text in fitted.notes)
