"""The table that the rules look at: each reading with its panel's facts and its place in a series.

The series is that of solar reflectance, read unwashed on exposed panels. `apart` is how far a
reading left the place that its panel usually has among its peers, `bent` how far it lies off the
course between its neighbours in time; both in the unit of the reading, lower is darker. Readings
that were excluded are judged but not used to judge others by.

    place   = reading - median of its replicates that day
    apart   = place - usual place; for fewer than 3 replicates (reading - usual
              reading) - its median over the rack
    usual   = median of 3 other visits, the last ones before it, else the next after
    bent    = reading - straight line in log(1 + months) through its two neighbours
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from aging.campaigns import START_GAP
from aging.conditions import COLOUR
from aging.cube import moments
from aging.records import Exposure
from aging.vocabulary import DAYS_PER_MONTH

MEASURED = "solar_reflectance"
REPLICATES = 3  # fewer say too little of where their formulation stands
NEW_MONTHS = 1.0
NEAREST = (1, 2, 3, -1, -2, -3)
READ = [
    "reading_id", "panel", "read_on", "property", "value", "surface_state", "surface_wetness",
    "spot_values", "instrument", "operator", "weighting", "method", *COLOUR,
]  # fmt: skip
PANEL = ["panel", "site", "formulation", "kind", "exposed_on", "dry_film_um"]
RACK = ["campaign", "day"]


@dataclass(frozen=True)
class Seen:
    """What the rules look at.

    rows : every reading that was read outdoors, with its panel's facts, at, day, months
    series : unwashed solar reflectance of exposed panels, one a day, with `place`, `apart`, `bent`,
        prior and next reading, the lower and the higher of the two before it, initial; since the
        prior one gap [months], rain_mm and whether it was `washed`
    """

    exposure: Exposure
    rows: pd.DataFrame
    series: pd.DataFrame

    @cached_property
    def file_shift(self) -> pd.DataFrame:
        """Median shift of the file specimens of each site, day and instrument, off their level."""
        rows = self.rows[self.rows["kind"] == "file_specimen"]
        rows = rows[rows["property"] == MEASURED].drop_duplicates(["panel", "day"])
        rows = rows.fillna({"instrument": ""})
        rows["shift"] = rows["value"] - usual(rows["trusted"], rows["panel"])
        return rows.groupby(["site", "day", "instrument"], as_index=False).agg(
            shift=("shift", "median"), specimens=("shift", "count")
        )


def seen(exposure: Exposure) -> Seen:
    """Lay the readings out."""
    panels = exposure.panels[PANEL].sort_values(["site", "exposed_on"])
    start = moments(panels["exposed_on"])
    same = panels["site"].eq(panels["site"].shift())
    panels["campaign"] = (~(same & (start.diff() <= START_GAP))).cumsum()
    readings = exposure.readings
    outdoors = readings["evidence"].isna() | (readings["evidence"] == "outdoor")
    rows = readings.loc[outdoors, READ].merge(panels, on="panel")
    rows["at"] = moments(rows["read_on"])
    rows["day"] = rows["at"].dt.normalize()
    since = rows["day"] - moments(rows["exposed_on"])
    rows["months"] = since.dt.days / DAYS_PER_MONTH
    last = exposure.settlements.drop_duplicates("finding", keep="last")
    excluded = last.loc[last["decision"] == "excluded", "reading_id"]
    rows["trusted"] = rows["value"].mask(rows["reading_id"].isin(excluded.dropna()))
    rows = rows.sort_values(["panel", "at", "reading_id"], ignore_index=True)
    return Seen(exposure, rows, _series(exposure, rows))


def usual(values: pd.Series, by: pd.Series) -> pd.Series:
    """Median of the three nearest other values of each series (`by`), those before it first."""
    each = values.groupby(by)
    near = np.stack([each.shift(step).to_numpy() for step in NEAREST], axis=1)
    near[(~np.isnan(near)).cumsum(axis=1) > len(NEAREST) // 2] = np.nan
    middle = pd.DataFrame(near, index=values.index).median(axis=1)
    return pd.Series(middle, index=values.index)


def looked_up(keys: pd.Series, values: pd.Series) -> pd.Series:
    """Value of each key under the keys' index, in the values' own type even where none is found."""
    return values.reindex(keys).set_axis(keys.index)


def _series(exposure: Exposure, rows: pd.DataFrame) -> pd.DataFrame:
    mine = (rows["property"] == MEASURED) & (rows["surface_state"] == "as_exposed")
    series = rows[mine & rows["kind"].isin(("exposed", "roof_patch"))]
    series = series.drop_duplicates(["panel", "day"]).copy()
    trusted, panel = series["trusted"], series["panel"]
    known = trusted.groupby(panel)
    series["prior"] = known.shift().groupby(panel).ffill()
    earlier = known.shift(2)
    series["lower"] = np.fmin(series["prior"], earlier)
    series["higher"] = np.fmax(series["prior"], earlier)
    series["next"] = known.shift(-1).groupby(panel).bfill()
    when = series["months"].where(trusted.notna())
    before = when.groupby(panel).shift().groupby(panel).ffill()
    after = when.groupby(panel).shift(-1).groupby(panel).bfill()
    series["gap"] = series["months"] - before
    series["initial"] = trusted.where(series["months"] <= NEW_MONTHS).groupby(panel).transform(
        "first")  # fmt: skip
    log = np.log1p(series["months"].clip(lower=0))
    left, right = np.log1p(before.clip(lower=0)), np.log1p(after.clip(lower=0))
    share = (log - left) / (right - left)
    course = series["prior"] * (1 - share) + series["next"] * share
    series["bent"] = series["value"] - course
    replicates = series.groupby(["formulation", *RACK])["trusted"]
    series["peers"] = replicates.transform("count")
    series["place"] = series["value"] - replicates.transform("median")
    among = series["place"].where(series["peers"] >= REPLICATES)
    own = series["value"] - usual(trusted, panel)
    moved = own - own.groupby([series[name] for name in RACK]).transform("median")
    series["apart"] = (among - usual(among.where(trusted.notna()), panel)).fillna(moved)
    since = series["day"] - pd.to_timedelta(series["gap"] * DAYS_PER_MONTH, unit="D").dt.round("D")
    series["rain_mm"] = _rain(exposure, series["site"], since, series["day"])
    series["washed"] = happened(exposure, ("wash",), series, since)
    return series


def _rain(exposure: Exposure, site: pd.Series, since: pd.Series, day: pd.Series) -> pd.Series:
    """Rain (mm) at each site after one day and up to another; missing where none is known."""
    weather = exposure.weather.dropna(subset=["rain_mm"])
    fell = weather.assign(day=moments(weather["date"])).sort_values("day")
    total = pd.Series(np.nan, index=site.index)
    for name, days in fell.groupby("site"):
        mine = site == name
        sums = np.r_[0.0, days["rain_mm"].cumsum()]
        ends = (days["day"].searchsorted(when[mine], side="right") for when in (since, day))
        from_, to = (sums[end] for end in ends)
        total[mine] = to - from_
    return total.mask(since.isna())


def happened(
    exposure: Exposure, kinds: Sequence[str], rows: pd.DataFrame, since: pd.Series
) -> pd.Series:
    """Whether an event of some kinds came to each row's panel or site after `since`, by its day."""
    events = exposure.events[exposure.events["kind"].isin(kinds)]
    if events.empty:
        return pd.Series(False, index=rows.index)
    when = pd.DataFrame({"since": since, "day": rows["day"]}).assign(row=rows.index)
    own = when.assign(panel=rows["panel"]).merge(
        events.loc[events["panel"].notna(), ["panel", "on"]], on="panel"
    )
    wide = when.assign(site=rows["site"]).merge(
        events.loc[events["panel"].isna(), ["site", "on"]], on="site"
    )
    met = pd.concat([own, wide])
    on = moments(met["on"]).dt.normalize()
    hit = met.loc[(on >= met["since"]) & (on <= met["day"]), "row"]
    return pd.Series(rows.index.isin(hit), index=rows.index)
