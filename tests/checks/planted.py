"""Faults planted in simulated campaigns, and how many of them a check finds.

Each site of a campaign gets one fault. A fault counts where it moves a reading by more than MOVED;
it is found where at least half of the readings that it so moved at its first visit are questioned
or refused at intake. Every other reading is clean. Sizes are assumed for the study.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from aging import intake
from aging.checks import QUESTIONED, check
from aging.cube import known_at
from aging.simulation import STUDY, campaign_streams
from aging.simulation.write import write_folder

MOVED = 0.04
COURSES = ("dirt and rain", "exponential", "two pools", "late growth")
DESIGN = replace(STUDY, file_specimens=1, scatter=replace(STUDY.scatter, drift=1.0))


@dataclass(frozen=True)
class Site:
    """The readings of a site's exposed panels (panels x visits, NaN where none) and their rows."""

    value: np.ndarray
    row: np.ndarray  # -1 where not read
    months: np.ndarray
    formulation: np.ndarray
    file_rows: list[np.ndarray]  # of the file specimens, by visit


def swap(site, visit, rng):
    one = rng.integers(len(site.value))
    other = rng.choice(np.flatnonzero(site.formulation != site.formulation[one]))
    new = site.value.copy()
    new[[one, other], visit] = new[[other, one], visit]
    return new


def percent(site, visit, rng):
    new = site.value.copy()
    new[rng.integers(len(new)), visit] *= 100
    return new


def wet(site, visit, rng):
    new, panels = site.value.copy(), rng.permutation(len(site.value))[: rng.integers(1, 5)]
    new[panels, visit] -= rng.uniform(0.03, 0.12, panels.size)
    return new


def wrong_tile(site, visit, rng):
    new = site.value.copy()
    new[:, visit] *= 1 + rng.choice([-1, 1]) * rng.uniform(0.06, 0.12)
    return new


def washed(site, visit, rng):
    new, panels = site.value.copy(), rng.permutation(len(site.value))[: rng.integers(1, 4)]
    lift = new[panels, 0] * rng.uniform(0.93, 1.0, panels.size) - new[panels, visit]
    fade = np.exp(-(site.months[visit:] - site.months[visit]) / 4)
    new[panels, visit:] += lift[:, None] * fade
    return new


def storm(site, visit, rng):
    new = site.value.copy()
    new[:, visit] -= rng.uniform(0.04, 0.09)
    return new


def recoat(site, visit, rng):
    new, panel = site.value.copy(), rng.integers(len(site.value))
    read = ~np.isnan(new[panel])
    young = site.months[visit:] - site.months[visit]
    new[panel, visit:] = np.interp(young, site.months[read], site.value[panel, read])
    new[panel, visit:] += rng.uniform(-0.01, 0.01)
    return np.where(np.isnan(site.value), np.nan, new)


def slip(site, visit, rng):
    """Two digits exchanged, one left out or one typed for its neighbour on the keys."""
    new, panel = site.value.copy(), rng.integers(len(site.value))
    if np.isnan(new[panel, visit]):
        return new
    digits, at = list(f"{new[panel, visit]:.3f}"[2:]), rng.integers(2)
    match rng.integers(3):
        case 0:
            digits[at : at + 2] = digits[at : at + 2][::-1]
        case 1:
            del digits[at]
        case _:
            digits[at] = str(int(digits[at]) + (1 if digits[at] in "0123" else -1))
    new[panel, visit] = max(float("0." + "".join(digits)), 0.02)
    return new


FAULTS = (swap, percent, wet, wrong_tile, washed, storm, recoat, slip)


def study(campaigns, seed, folder, *, on_the_day=False):
    """Frame of faults (fault, course, moved, found, on_the_day) and of clean readings by course.

    on_the_day: also check each fault with nothing known that was read after its day.
    """
    rng, faults, clean = np.random.default_rng(seed), [], []
    for course in COURSES:
        for campaign in campaign_streams(course, campaigns, seed, DESIGN):
            exposure, planted = plant(campaign.exposure, len(clean), rng)
            given = through_intake(exposure, folder)
            asked = questioned(exposure, given)
            for name, ids, moved in planted:
                then = known_on_day_of(exposure, given, ids) if on_the_day and ids.size else []
                shares = [np.isin(ids, list(these)).mean() if ids.size else 0.0
                          for these in (asked, then)]  # fmt: skip
                faults.append((name, course, moved, *(share >= 0.5 for share in shares)))
            changed = exposure.readings["value"] != campaign.exposure.readings["value"]
            sound = exposure.readings.loc[~changed, "reading_id"]
            clean.append((course, len(sound), sound.isin(asked).sum()))
    return (
        pd.DataFrame(faults, columns=["fault", "course", "moved", "found", "on_the_day"]),
        pd.DataFrame(clean, columns=["course", "readings", "questioned"]),
    )


def known_on_day_of(exposure, given, ids):
    """What intake refused or a check asks on the day of some readings."""
    readings = exposure.readings
    day = pd.Timestamp(readings.loc[readings["reading_id"].isin(ids), "read_on"].iloc[0])
    past = known_at(given, day)
    return questioned(known_at(exposure, day), past)


def questioned(exposure, given):
    """Ids that intake refused or a check asks about."""
    frame = check(given).frame
    asks = frame.loc[frame["severity"].isin(QUESTIONED), "reading_id"].dropna()
    refused = set(exposure.readings["reading_id"]) - set(given.readings["reading_id"])
    return set(asks) | refused


def through_intake(exposure, folder):
    write_folder(exposure, folder)
    return intake.read(folder).exposure


def plant(exposure, number, rng):
    """The exposure with one fault at each site; (fault, ids that it moved much, by what)."""
    readings, planted = exposure.readings.copy(), []
    rows = readings.merge(exposure.panels[["panel", "site", "kind", "formulation", "exposed_on"]])
    for place, (_, mine) in enumerate(rows.groupby("site")):
        fault = FAULTS[(3 * number + place) % len(FAULTS)]
        site = laid_out(mine)
        first = 1 if fault in (washed, storm, recoat) else 0
        visit = rng.integers(first, site.value.shape[1])
        new = fault(site, visit, rng)
        new = np.round(new, 3)
        hit = (site.row >= 0) & ~np.isnan(new)
        readings.loc[site.row[hit], "value"] = new[hit]
        if fault is wrong_tile:
            factor = np.nanmedian(new[:, visit] / site.value[:, visit])
            on_file = site.file_rows[visit]
            readings.loc[on_file, "value"] = (readings.loc[on_file, "value"] * factor).round(3)
        moved = np.abs(new[:, visit] - site.value[:, visit])
        much = np.flatnonzero((moved > MOVED) & hit[:, visit])
        ids = readings.loc[site.row[much, visit], "reading_id"].to_numpy()
        planted.append((fault.__name__, ids, moved[much].max(initial=0.0)))
    readings["value"] = readings["value"].clip(0.02, 100)
    return replace(exposure, readings=readings), planted


def laid_out(mine):
    mine = mine.assign(row=mine.index)
    out = mine[mine["kind"] == "exposed"]
    by = {"index": ["formulation", "panel"], "columns": "read_on"}
    table, row = (out.pivot_table(values=name, **by) for name in ("value", "row"))
    days = pd.to_datetime(table.columns)
    filed = mine[mine["kind"] == "file_specimen"].groupby("read_on")["row"]
    by_day = {day: rows.to_numpy() for day, rows in filed}
    return Site(
        table.to_numpy(), row.fillna(-1).to_numpy(dtype=int),
        ((days - days[0]) / pd.Timedelta(days=30.44)).to_numpy(),
        table.index.get_level_values("formulation").to_numpy(),
        [by_day.get(day, np.empty(0, dtype=int)) for day in table.columns],
    )  # fmt: skip


def table(faults, clean):
    """Share found by fault, of those that moved a reading by more than MOVED; share questioned."""
    counted = faults[faults["moved"] > MOVED]
    found = counted.groupby("fault")["found"].agg(["size", "mean"])
    found["on the day"] = counted.groupby("fault")["on_the_day"].mean()
    every = clean[["readings", "questioned"]].sum()
    return found, float(counted["found"].mean()), float(every["questioned"] / every["readings"])
