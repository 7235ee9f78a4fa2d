"""Fits from the shelf have the digits of fits, and new readings refit only what they touch."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import aging
from aging.projection import kept
from aging.simulation import campaign_streams, merge, precedents
from aging.simulation.scenario import coats
from aging.simulation.study import STUDY


@pytest.fixture(scope="module")
def ledger():
    """At three sites a running campaign of three visits and two closed ones of 24 months."""
    small = replace(STUDY, formulations=coats(4), panels=2, visits=(0, 3, 6, 9, 12, 18, 24, 36))
    running = next(iter(campaign_streams("dirt and rain", 1, 7, small))).exposure
    past = precedents("dirt and rain", 2, 9, small)
    start = pd.to_datetime(running.panels["exposed_on"]).min()
    early = pd.to_datetime(running.readings["read_on"]) < start + pd.Timedelta(days=400)
    return merge([past, replace(running, readings=running.readings[early])])


@pytest.fixture
def fits(tmp_path, monkeypatch):
    """Months read by each campaign that is fitted, on a shelf that begins empty."""
    monkeypatch.setenv("AGING_CACHE", str(tmp_path / "own"))
    made = []

    def counted(site, *rest, **more):
        made.append(site)
        return fit_site(site, *rest, **more)

    fit_site = kept.fit_site
    monkeypatch.setattr(kept, "fit_site", counted)
    return made


def changed(exposure, kind):
    """The ledger with one reading of a campaign at AMARO a little lower."""
    panels = exposure.panels
    closed = panels["closed_on"].notna() & (panels["site"] == "AMARO")
    running = panels["closed_on"].isna() & (panels["site"] == "AMARO")
    panel = panels.loc[closed if kind == "closed" else running, "panel"].iloc[0]
    readings = exposure.readings.copy()
    readings.loc[(readings["panel"] == panel).idxmax(), "value"] -= 0.01
    return replace(exposure, readings=readings)


def test_a_fit_from_the_shelf_has_every_digit_of_a_fit(ledger, fits, monkeypatch):
    first = aging.fit(ledger)
    number = len(fits)
    again = aging.fit(ledger)
    assert (number, len(fits)) == (9, 9)
    monkeypatch.setenv("AGING_CACHE", "off")
    fresh = aging.fit(ledger)
    assert len(fits) == 18
    for fitted in (first, again):
        assert fitted.notes == fresh.notes
        for one, other in zip(fitted.series, fresh.series, strict=True):
            for name in ("node", "path", "panel", "visits", "visit_cov", "calm", "stretch"):
                mine, theirs = getattr(one.posterior, name), getattr(other.posterior, name)
                np.testing.assert_array_equal(mine, theirs)
        for months in (0.0, 36.0):
            mine, theirs = fitted.project(months).frame, fresh.project(months).frame
            pd.testing.assert_frame_equal(mine, theirs, check_exact=True)


def test_a_reading_of_a_running_campaign_refits_that_one_alone(ledger, fits):
    aging.fit(ledger)
    fits.clear()
    aging.fit(changed(ledger, "running"))
    assert len(fits) == 1


def test_a_reading_of_a_closed_campaign_refits_it_and_what_it_teaches(ledger, fits):
    aging.fit(ledger)
    fits.clear()
    aging.fit(changed(ledger, "closed"))
    assert len(fits) == 2  # itself and the running campaign of its climate


def test_without_the_shelf_nothing_is_left_behind(ledger, fits, monkeypatch, tmp_path):
    monkeypatch.setenv("AGING_CACHE", "off")
    aging.fit(ledger)
    assert len(fits) == 9
    assert not (tmp_path / "own").exists()


def test_priors_draws_and_seed_name_a_fit_of_their_own(ledger):
    found = aging.projection.gather(ledger)
    site, priors = found.campaigns[0].readings, found.priors(found.campaigns[0])
    other = replace(priors, table=priors.table.assign(spread=priors.table["spread"] * 1.1))
    names = [
        kept.named(site, priors, draws=2000, seed=1), kept.named(site, priors, draws=1000, seed=1),
        kept.named(site, priors, draws=2000, seed=2), kept.named(site, other, draws=2000, seed=1),
        kept.named(replace(site, dryness_sd=9.0), priors, draws=2000, seed=1),
    ]  # fmt: skip
    assert len(set(names)) == len(names)


def test_some_formulations_alone_project_as_among_all(ledger):
    whole = aging.fit(ledger)
    some = ["F2", "P1F3"]
    alone = whole.only(some)
    for frame in ("project", "losses"):
        among = getattr(whole, frame)([3.0, 36.0]).frame
        among = among[among["formulation"].isin(some)].reset_index(drop=True)
        pd.testing.assert_frame_equal(getattr(alone, frame)([3.0, 36.0]).frame, among, rtol=1e-12)
