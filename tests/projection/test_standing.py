"""Each note and status of a projection, on the smallest campaign that earns it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from aging.campaigns import Campaign
from aging.climate.clock import steady
from aging.decay.posterior import fit_site
from aging.decay.priors import priors_for
from aging.decay.site import site_readings
from aging.standing import Standing, narrow_enough, seasons_of, standing, together, usual_width
from aging.vocabulary import PROPERTIES

REFLECTANCE = PROPERTIES["solar_reflectance"]
PRIORS = priors_for(REFLECTANCE)
NONE: dict[str, int] = {}
YEAR_AND_A_HALF = (0, 1, 2, 3, 6, 9, 12, 15, 18)


def campaign(months, panels=3, loss=0.1, rate=0.3):
    """One formulation that follows an exponential without any error, hung on 1 April 2024."""
    at = np.asarray(months, float)
    values = np.tile(0.8 - loss * -np.expm1(-rate * at), (panels, 1))
    names = tuple(f"P{i}" for i in range(panels))
    start = pd.Timestamp("2024-04-01")
    visits = start + pd.to_timedelta(at * 30.44, unit="D")
    readings = site_readings(values, np.zeros(panels, np.int64), at)
    return Campaign(
        "yard", start, ("white",), names, pd.DatetimeIndex(visits), at, readings, steady()
    )


FITTED = fit_site(campaign(YEAR_AND_A_HALF).readings, PRIORS, draws=200)


FAR = "it looks {} times as far as was read: each further visit narrows it"
TO_COME = " are still to come, their losses unseen: read after each"


def judged(one, months=36.0, seasons=NONE, posterior=FITTED):
    return standing(one, 0, months, posterior=posterior, seasons=seasons)


def test_a_campaign_that_nothing_limits_tells_only_how_far_it_reaches():
    found = judged(campaign((*YEAR_AND_A_HALF, 24)))
    assert found.status == "projected"
    assert found.notes == (FAR.format(1.5),)
    assert (found.panels, found.readings, found.months) == (3, 30, 24)


def test_what_was_read_needs_no_note():
    assert judged(campaign(YEAR_AND_A_HALF), 18) == Standing("already measured", 3, 27, 18, ())


@pytest.mark.parametrize("months", [(0,), (5,), (0, 0.05)])
def test_readings_of_one_day_carry_no_projection(months):
    found = judged(campaign(months))
    assert found.status == "cannot project"
    assert found.notes[0].startswith("no time between its first and last reading: read again")


@pytest.mark.parametrize(
    ("months", "panels", "status", "note"),
    [
        ((0, 6, 12, 15), 3, "prior-driven", "only 4 visits: the shape of the curve"),
        ((0, 0.5, 1, 1.5, 2), 3, "prior-driven", "less than a year read"),
        ((0, 1, 2, 4, 6), 3, "projected", "less than a year read"),
        (YEAR_AND_A_HALF, 2, "projected", "only 2 panels"),
        (YEAR_AND_A_HALF, 1, "projected", "only 1 panel"),
        (
            YEAR_AND_A_HALF[3:], 3, "projected",
            "first read at month 3.0: the value when new is assumed",
        ),
    ],
)  # fmt: skip
def test_what_is_thin_is_told(months, panels, status, note):
    found = judged(campaign(months, panels))
    assert found.status == status
    assert any(one.startswith(note) for one in found.notes)
    assert not any(note in one for one in judged(campaign((*YEAR_AND_A_HALF, 24))).notes)


def held_at(at=0.0, rate=0.5):
    """The posterior, all its draws moved to one place of the prior and one exponential."""
    grid = FITTED.grid
    every = np.ones(grid.size)
    course = np.full(grid.size, grid.courses.index("exponential"))
    return replace(FITTED, grid=replace(grid, course=course, parameter=rate * every, at=at * every))


def test_less_than_the_plateau_seen_is_told():
    share = np.expm1(-0.05 * 18) / np.expm1(-0.05 * 36)
    assert share == pytest.approx(0.711, abs=1e-3)
    notes = judged(campaign(YEAR_AND_A_HALF), posterior=held_at(rate=0.05)).notes
    assert notes[0].startswith("about 70 % of the fast loss was seen")
    assert notes[1:] == (FAR.format("2.0"),)
    assert judged(campaign(YEAR_AND_A_HALF), posterior=held_at()).notes == notes[1:]


@pytest.mark.parametrize(("at", "told"), [(-2.4, True), (2.35, True), (2.0, False)])
def test_a_rate_at_the_edge_of_its_prior_is_told(at, told):
    found = judged(campaign(YEAR_AND_A_HALF), posterior=held_at(at))
    assert any("at the edge of what is assumed" in note for note in found.notes) == told


@pytest.mark.parametrize(
    ("months", "target", "seasons", "note"),
    [
        ((*YEAR_AND_A_HALF[:7],), 36, {"winter": 1}, "2 winters"),
        ((*YEAR_AND_A_HALF, 24), 36, {"winter": 1}, None),
        ((*YEAR_AND_A_HALF, 24), 48, {"winter": 1}, "2 winters"),
        (YEAR_AND_A_HALF, 36, {"winter": 1, "wet season": 8}, "2 winters"),
        (
            YEAR_AND_A_HALF[:6], 36, {"winter": 7, "wet season": 2},
            "2 winters and 3 wet seasons",
        ),
    ],
)  # fmt: skip
def test_seasons_that_no_reading_has_seen_are_counted(months, target, seasons, note):
    """Hung in April 2024: month 12 is April 2025, month 18 October 2025, month 36 April 2027."""
    notes = judged(campaign(months), target, seasons).notes
    assert [told for told in notes if "still to come" in told] == ([note + TO_COME] if note else [])


def weather(rain_mm, first="2023-01-01", days=365):
    dates = pd.date_range(first, periods=days)
    return pd.DataFrame(
        {"date": dates.strftime("%Y-%m-%d"), "rain_mm": [float(rain_mm(day)) for day in dates]}
    )


def test_a_site_s_seasons_come_from_its_latitude_and_its_rain():
    monsoon = weather(lambda day: 9 if day.month in {7, 8, 9} else 1)
    assert seasons_of(41.0, monsoon) == {"winter": 1, "wet season": 8}
    assert seasons_of(-33.0, weather(lambda _: 2)) == {"winter": 7}
    over_new_year = weather(lambda day: 9 if day.month in {12, 1, 2} else 1)
    assert seasons_of(-12.0, over_new_year) == {"wet season": 1}
    assert seasons_of(np.nan, monsoon) == {"wet season": 8}
    assert seasons_of(np.nan, monsoon.iloc[:300]) == {}
    assert seasons_of(np.nan, monsoon.assign(rain_mm=np.nan)) == {}


def test_an_interval_wider_than_half_of_the_usual_band_is_no_projection():
    known = Standing("projected", 3, 30, 12.0, ("only 2 panels",))
    assert narrow_enough(known, usual_width(np.linspace(0.5, 0.8, 101)), REFLECTANCE) == known
    wide = narrow_enough(known, usual_width(np.linspace(0.4, 0.8, 101)), REFLECTANCE)
    assert wide.status == "cannot project"
    assert wide.notes == (
        "its 90 % interval would span 0.360, more than half of the usual band: read on",
        "only 2 panels",
    )
    read = replace(known, status="already measured")
    assert narrow_enough(read, usual_width(np.linspace(0.4, 0.8, 101)), REFLECTANCE) == read


def test_a_mean_is_as_good_as_its_weakest_site():
    good = Standing("projected", 3, 30, 24.0, ("two winters to come",))
    bad = Standing("cannot project", 2, 2, 0.0, ("only one visit",))
    both = together({"NORTH": good, "SOUTH": bad})
    notes = tuple(f"{site}: {one.notes[0]}" for site, one in (("NORTH", good), ("SOUTH", bad)))
    assert both == Standing("cannot project", 5, 32, 0.0, ("mean of 2 sites", *notes))
    assert together({"NORTH": good}) == good
    alike = replace(bad, notes=good.notes)
    assert together({"NORTH": good, "SOUTH": alike}).notes == ("mean of 2 sites", *good.notes)
