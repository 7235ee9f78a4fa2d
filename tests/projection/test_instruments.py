"""Instruments that drift, and file specimens that show it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import aging
from aging.decay.priors import priors_for
from aging.instruments import UNKNOWN, check_instruments
from aging.projection import gather
from aging.records import empty_frame
from aging.simulation import Design, Scatter, coats, simulate
from aging.vocabulary import PROPERTIES

PRIORS = priors_for(PROPERTIES["solar_reflectance"])
DRIFTING = Design(formulations=coats(3), scatter=Scatter(drift=8.0), months=36)
MOMENT = "2023-04-20"  # two years


def without_specimens(exposure):
    filed = exposure.panels.loc[exposure.panels["kind"] == "file_specimen", "panel"]
    return replace(exposure, readings=exposure.readings[~exposure.readings["panel"].isin(filed)])


def planted(seed):
    """Offsets of the instruments: readings of the same campaign with and without drift."""
    drifting, steady = (
        simulate(replace(DRIFTING, scatter=Scatter(drift=drift)), seed).exposure.readings
        for drift in (8.0, 0.0)
    )
    assert drifting["reading_id"].equals(steady["reading_id"])
    return drifting["value"] - steady["value"]


def test_the_offset_is_recovered():
    exposure = simulate(DRIFTING, 3).exposure
    checked = check_instruments(exposure, "solar_reflectance", PRIORS)
    taken = exposure.readings["value"] - checked.exposure.readings["value"]
    truth = planted(3)
    by_check = [exposure.readings["instrument"], exposure.readings["read_on"]]
    error, size = (x.groupby(by_check).mean() for x in (taken - truth, truth))
    assert error.std() < 0.35 * size.std()
    assert (error.abs() < 3.5 * np.sqrt(np.diag(checked.cov).max())).all()
    assert checked.exposure.panels is exposure.panels


def test_file_specimens_bring_projections_closer_to_the_truth():
    errors = {"with": [], "without": []}
    for seed in (50, 51):
        campaign = simulate(DRIFTING, seed)
        truth = campaign.truth.query("months == 36").set_index(["site", "formulation"])["state"]
        exposures = (campaign.exposure, without_specimens(campaign.exposure))
        for name, exposure in zip(errors, exposures, strict=True):
            drawn = aging.fit(exposure, as_of=MOMENT).draws([36.0])
            errors[name] += [
                abs(np.median(draws["state"][0]) - truth[key]) for key, draws in drawn.items()
            ]
    assert np.mean(errors["with"]) < 0.8 * np.mean(errors["without"])


def test_without_file_specimens_nothing_changes_and_it_is_said():
    exposure = without_specimens(simulate(DRIFTING, 3).exposure)
    checked = check_instruments(exposure, "solar_reflectance", PRIORS)
    assert checked.exposure is exposure
    found = gather(exposure)
    assert all(one.readings.offset is None for one in found.campaigns)
    assert found.notes == (UNKNOWN,)


def test_what_is_left_of_the_offset_is_in_the_visits():
    found = gather(simulate(DRIFTING, 3).exposure)
    assert found.notes == ("the instruments' drift, as 3 file specimens show it, is taken off",)
    for one in found.campaigns:
        spread = np.sqrt(np.diag(one.readings.offset))
        assert spread[0] == pytest.approx(0)
        assert ((spread[1:] > 0.0005) & (spread[1:] < 0.01)).all()


def test_a_site_without_specimens_of_its_own_has_its_instrument_seen_elsewhere():
    exposure = simulate(DRIFTING, 3).exposure
    filed = exposure.panels[exposure.panels["kind"] == "file_specimen"]
    away = filed.loc[filed["site"] != "AMARO", "panel"]
    one = exposure.readings[~exposure.readings["panel"].isin(away)].assign(instrument="SR-1")
    same_days = one.assign(read_on=one["read_on"].str[:7] + "-15")
    checked = check_instruments(replace(exposure, readings=same_days), "solar_reflectance", PRIORS)
    assert checked.specimens.to_dict() == {"AMARO": 3, "DRYWELL": 3, "KESTREL": 3}
    assert checked.covariance("KESTREL", pd.DatetimeIndex(["2022-07-15"]))[0, 0] > 0
    assert checked.covariance("KESTREL", pd.DatetimeIndex(["1999-07-15"]))[0, 0] == 0


def test_without_names_or_events_each_site_has_its_instrument():
    exposure = simulate(DRIFTING, 3).exposure
    named = check_instruments(exposure, "solar_reflectance", PRIORS)
    bare = replace(
        exposure,
        readings=exposure.readings.assign(
            instrument=pd.array([None] * len(exposure.readings), "str")
        ),
        events=empty_frame("events"),
    )
    found = check_instruments(bare, "solar_reflectance", PRIORS)
    assert found.specimens.to_dict() == named.specimens.to_dict()
    gap = found.exposure.readings["value"] - named.exposure.readings["value"]
    assert gap.abs().max() < 0.006


def test_a_new_instrument_is_brought_to_the_old_one():
    exposure = simulate(replace(DRIFTING, scatter=Scatter(drift=0.0)), 5).exposure
    readings = exposure.readings
    late = readings["read_on"] > "2022-06-01"
    other = readings.assign(
        value=readings["value"] + 0.012 * late,
        instrument=readings["instrument"].mask(late, readings["instrument"] + "-new"),
    )
    checked = check_instruments(replace(exposure, readings=other), "solar_reflectance", PRIORS)
    taken = (other["value"] - checked.exposure.readings["value"])[late]
    assert taken.mean() == pytest.approx(0.012, abs=0.003)
    assert taken.std() < 0.004
