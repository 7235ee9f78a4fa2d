"""How far instruments have drifted, by the file specimens, and readings with that taken off.

A file specimen is kept indoors and read at the visits with the same instrument: what it reads
beyond its own mean is the instrument's offset (decay/offset.py). It is reckoned from the offset
of the instrument that a site was first read with, on its first day.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from aging.conditions import comparable
from aging.cube import moments
from aging.decay.offset import offsets, walk_cov
from aging.decay.priors import Priors
from aging.decay.site import Array
from aging.records import Exposure
from aging.vocabulary import DAYS_PER_MONTH

UNKNOWN = "no file specimen was read: drift of the instrument is unknown, and widens the intervals"


@dataclass(frozen=True)
class Checked:
    """An exposure with the instruments' offsets taken off the readings of one property.

    check : place of the offset of each (site, day) that has one;  cov : (K, K) of the offsets
    specimens : file specimens behind the offsets of each site
    """

    exposure: Exposure
    check: pd.Series
    cov: Array
    specimens: pd.Series

    def covariance(self, site: str, days: pd.DatetimeIndex) -> Array | None:
        """Covariance (V, V) of what is left of the offsets on days at a site, if any is known."""
        if site not in self.specimens:
            return None
        at = self.check.reindex(pd.MultiIndex.from_product([[site], days.normalize()])).to_numpy()
        known = ~np.isnan(at)
        place = np.where(known, at, 0).astype(np.int64)
        return self.cov[np.ix_(place, place)] * np.outer(known, known)

    def note(self, site: str) -> str:
        """What was done, or could not be done, at a site."""
        number = int(self.specimens.get(site, 0))
        many = f"{number} file specimen{'s' * (number > 1)}"
        return f"the instruments' drift, as {many} show it, is taken off" if number else UNKNOWN


def check_instruments(exposure: Exposure, property_name: str, priors: Priors) -> Checked:
    """Find each instrument's offset on each of its days and take its mean off the readings."""
    alike = comparable(exposure)[0]
    rows = alike.loc[alike["property"] == property_name].reset_index()
    rows = rows.merge(exposure.panels[["panel", "site", "kind"]], on="panel")
    rows["day"] = moments(rows["read_on"]).dt.normalize()
    rows["instrument"] = rows["instrument"].fillna("the instrument of " + rows["site"])
    filed = rows[(rows["kind"] == "file_specimen") & (rows["surface_state"] == "as_exposed")]
    again = filed.groupby("panel")["day"].transform("nunique") > 1
    filed = filed[again]
    rows = rows[rows["instrument"].isin(filed["instrument"])]
    checks = rows[["instrument", "day"]].drop_duplicates().sort_values(["day", "instrument"])
    checks["check"] = np.arange(len(checks))
    rows = rows.merge(checks, on=["instrument", "day"])
    if filed.empty:
        return Checked(exposure, pd.Series(dtype=float), np.zeros((0, 0)), pd.Series(dtype=float))
    table = filed.merge(checks).pivot_table(index="panel", columns="check", values="value")
    days = (checks["day"] - checks.groupby("instrument")["day"].transform("min")).dt.days
    prior = walk_cov(
        checks["instrument"].factorize()[0],
        days.to_numpy() / (1.0 if priors.time == "day" else DAYS_PER_MONTH),
        _jumps(rows, checks, exposure.events), priors.value("instrument"),
        priors.value("instrument_event"),
    )  # fmt: skip
    found = offsets(
        table.reindex(columns=range(len(checks))).to_numpy(),
        prior,
        priors.value("residual"),
        priors.spread("instrument"),
    )
    readings = exposure.readings.copy()
    readings.loc[rows["index"], "value"] -= found.mean[rows["check"]]
    most = rows.groupby(["site", "day", "check"], as_index=False).size()
    most = most.sort_values("size", kind="stable")
    place = most.drop_duplicates(["site", "day"], keep="last").set_index(["site", "day"])["check"]
    users = rows[["site", "instrument"]].drop_duplicates()
    behind = users.merge(filed[["instrument", "panel"]].drop_duplicates(), on="instrument")
    specimens = behind.groupby("site")["panel"].nunique()
    return Checked(replace(exposure, readings=readings), place, found.cov, specimens)


def _jumps(rows: pd.DataFrame, checks: pd.DataFrame, events: pd.DataFrame) -> Array:
    """How often the instrument of each check may have jumped since it was first read with."""
    users = rows.sort_values("day", kind="stable").drop_duplicates(["site", "instrument"])
    newcomers = set(users.loc[users["site"].duplicated(), "instrument"])
    newcomers -= {users["instrument"].iloc[0]}
    worked = events.loc[events["kind"] == "instrument", ["site", "on"]]
    worked = worked.assign(event=moments(worked["on"]).dt.normalize())
    met = users[["site", "instrument"]].merge(worked, on="site")[["instrument", "event"]]
    first = checks.groupby("instrument")["day"].transform("min")
    met = met.drop_duplicates().merge(checks.assign(first=first), on="instrument")
    met = met[(met["first"] < met["event"]) & (met["event"] <= met["day"])]
    jumps = np.bincount(met["check"], minlength=len(checks)).astype(np.float64)
    return jumps + checks["instrument"].isin(newcomers).to_numpy(dtype=np.float64)
