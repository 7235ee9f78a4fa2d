"""Frames of the page of colour and ratings.

A trial is what was hung at a site within days of each other, as in `aging.campaigns`; `months` of a
visit count from its first day, so that all panels of a visit share them. Only readings that may
stand in a series are shown, see `aging.conditions`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass

import numpy as np
import pandas as pd

from aging.campaigns import START_GAP
from aging.conditions import COLOUR
from aging.cube import seen
from aging.decay.ratings import Ratings, differences, medians, trend
from aging.errors import CallError
from aging.optics.colour import (
    YELLOWNESS,
    Conditions,
    colour_of_readings,
    grey_scale_step,
    since_start,
    yellowness_index,
)
from aging.optics.screen import screen_colours
from aging.records import Exposure
from aging.spectra import LAB
from aging.vocabulary import DAYS_PER_MONTH, PROPERTIES
from dashboard import look_wording, tables, wording

RATED = tuple(name for name, prop in PROPERTIES.items() if prop.scale == "ordinal")
READ = (*LAB, "yellowness_index")
TRACKS = (*LAB, "delta_e_00", "yellowness_index")
NEW_WITHIN = 1.0  # month, as `since_start` asks


@dataclass(frozen=True)
class Looks:
    """Colour of one formulation in one trial: panels, means by visit, what they hold under.

    Without conditions `fault` says why nothing that needs them has a value.
    """

    panels: pd.DataFrame
    visits: pd.DataFrame
    conditions: Conditions | None
    fault: str = ""


def readings(exposure: Exposure) -> tuple[pd.DataFrame, list[str]]:
    """Colours and ratings that count, with formulation, trial (its first day), visit, months.

    And notes on what was left out.
    """
    known, _, notes = seen(exposure)
    facts = tables.panels(exposure)[["panel", "formulation", "exposed_on"]]
    frame = known[known["property"].isin({*READ, *RATED})].merge(facts, on="panel")
    hung = frame[["site", "exposed_on"]].drop_duplicates().sort_values(["site", "exposed_on"])
    apart = hung.groupby("site")["exposed_on"].diff()
    first = hung["exposed_on"].where(apart.isna() | (apart > START_GAP))
    hung["trial"] = first.groupby(hung["site"]).ffill()
    frame = frame.merge(hung, on=["site", "exposed_on"])
    day = frame["at"].dt.normalize()
    days = day.groupby([frame["site"], frame["visit"]]).transform("min") - frame["trial"]
    return frame.assign(months=days.dt.days / DAYS_PER_MONTH), notes


def of_trial(known: pd.DataFrame, site: str, trial: pd.Timestamp) -> pd.DataFrame:
    """Readings of one trial at one site."""
    return known[(known["site"] == site) & (known["trial"] == trial)]


def looks(rows: pd.DataFrame) -> Looks:
    """Colour of the readings of one formulation in one trial.

    Differences are to a panel's own reading of its first month; yellowness is reckoned where it
    was not read. Both need the conditions stated.
    """
    rows = rows[rows["property"].isin(READ)]
    found = rows.pivot_table(
        index=["visit", "surface_state", "months", "panel"], columns="property", values="value"
    )
    found = found.reindex(columns=list(READ)).reset_index().assign(delta_e_00=np.nan)
    found["state"] = found["surface_state"].map(wording.STATES)
    conditions, fault = _stated(rows), look_wording.NOT_STATED
    if conditions:
        try:
            return Looks(*_changed(found, conditions), conditions)
        except CallError as error:
            fault = str(error)
    return Looks(found, _by_visit(found), None, fault)


def _changed(found: pd.DataFrame, conditions: Conditions) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Panels and visits with the differences and the yellowness of what was read whole."""
    found, whole = found.copy(), found.dropna(subset=list(LAB))
    start = whole.groupby("panel")["months"].transform("min")
    new = whole[start <= NEW_WITHIN]
    colour = colour_of_readings(new[list(LAB)], conditions)
    change = since_start(new["panel"], new["months"], colour)
    found.loc[new.index, "delta_e_00"] = change.delta_e_00
    if (conditions.illuminant, conditions.observer_deg) in YELLOWNESS:
        made = yellowness_index(colour_of_readings(whole[list(LAB)], conditions))
        made = pd.Series(made, whole.index)
        found["yellowness_index"] = found["yellowness_index"].fillna(made)
    return found, _by_visit(found)


def _stated(rows: pd.DataFrame) -> Conditions | None:
    """What the readings hold under, where they say so; one that does not holds as the others."""
    told = [rows[name].dropna() for name in COLOUR]
    if any(column.empty for column in told):
        return None
    illuminant, observer, geometry = (column.iloc[0] for column in told)
    return Conditions(str(illuminant), int(observer), str(geometry))


def _by_visit(found: pd.DataFrame) -> pd.DataFrame:
    """Means over the panels of a visit and surface state; grey scale against the first visit."""
    grouped = found.groupby(["visit", "months", "surface_state", "state"])
    means = grouped[list(TRACKS)].mean()
    means = means.assign(panels=grouped["panel"].nunique()).reset_index()
    lab = means[list(LAB)]
    first = lab[(means["surface_state"] == "as_exposed") & (means["months"] <= NEW_WITHIN)]
    known = lab.notna().all(axis=1) & bool(len(first))
    grey = grey_scale_step(lab, first.iloc[0]) if len(first) else ""
    return means.assign(grey_scale=pd.Series(grey, means.index, dtype="str").where(known))


def swatches(visits: pd.DataFrame) -> pd.DataFrame:
    """name, colour ("#f4f3ee") and L*, a*, b* of the first, the latest and the latest washed."""
    whole = visits.dropna(subset=list(LAB))
    exposed = whole[whole["surface_state"] == "as_exposed"]
    washed = whole[whole["surface_state"] == "washed"]
    rows = pd.concat([exposed.head(1), exposed[1:].tail(1), washed.tail(1)])
    names = [f"{wording.exposed(row.months)}, {row.state}" for row in rows.itertuples()]
    return rows.assign(name=names, colour=screen_colours(rows[list(LAB)]))


def ratings(rows: pd.DataFrame, name: str) -> Ratings:
    """Ratings of panels as exposed in one trial; CallError where they cannot stand together."""
    mine = rows[(rows["property"] == name) & (rows["surface_state"] == "as_exposed")]
    letters = mine["method"].dropna()
    return Ratings.of(mine.assign(method=letters.iloc[0] if len(letters) else ""), name)


def strips(found: Ratings) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Medians by formulation and visit, and the panels behind them, `place` 0 the best of each."""
    panels = found.frame.sort_values("worse", kind="stable")
    place = panels.groupby(["formulation", "months"]).cumcount()
    return medians(found), panels.assign(place=place)


def judged(found: Ratings, controls: Iterable[str], level: float) -> pd.DataFrame:
    """A row a formulation: trend and, where the trial has a control, ranks against the first."""
    names = sorted(set(found.frame["formulation"]))
    trends = pd.DataFrame([asdict(trend(found, name, level)) for name in names])
    control = next((name for name in controls if name in names), None)
    against = differences(found, control) if control else ()
    ranks = pd.DataFrame(map(asdict, against), columns=["formulation", "superiority", "p_holm"])
    return trends.merge(ranks, on="formulation", how="left")


def in_words(trends: pd.DataFrame) -> pd.DataFrame:
    """Trends with `odds` and `range` as text and `superiority` in percent."""
    ends = trends[["lower", "upper"]].map(look_wording.odds)
    return trends.assign(
        odds=trends["odds_ratio"].map(look_wording.odds),
        range=(ends["lower"] + " to " + ends["upper"]).where(trends["odds_ratio"].notna(), ""),
        superiority=100 * trends["superiority"],
    )
