"""Run the rules over an exposure and tell which findings are still open."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from aging.checks import dates, peers, rack, values
from aging.checks.ids import finding_id
from aging.checks.limits import Limits, limits_with
from aging.checks.table import looked_up, seen
from aging.cube import moments
from aging.records import Exposure

if TYPE_CHECKING:
    from aging.projection import Gathered

RULES = pd.read_csv(Path(__file__).with_name("rules.csv"), dtype="str").set_index("rule")
QUESTIONED = ("block", "confirm", "warn")  # an info asks for nothing
OPEN = "open"
COLUMNS = (
    "finding", "rule", "severity", "site", "panel", "read_on", "property", "reading_id", "what",
    "seen", "allowed", "action", "state",
)  # fmt: skip


@dataclass(frozen=True)
class Checked:
    """What a check doubts: a row for each reading of each finding (COLUMNS), and the limits used.

    Readings of one `finding` are settled together. A finding of no reading (a thin panel) has no
    reading_id. state: open, or how the settlements decided last.
    """

    frame: pd.DataFrame
    limits: Limits

    @property
    def open(self) -> pd.DataFrame:
        """Rows that still ask for a decision."""
        asks = self.frame["severity"].isin(QUESTIONED)
        return self.frame[asks & (self.frame["state"] == OPEN)]

    @property
    def blocked(self) -> bool:
        """Whether an open finding blocks."""
        return bool((self.open["severity"] == "block").any())


def check(
    exposure: Exposure,
    *,
    gathered: Gathered | None = None,
    since: str | pd.Timestamp | None = None,
    limits: str | Path | pd.DataFrame | None = None,
) -> Checked:
    """Hold every reading to the rules.

    gathered: as from `aging.projection.gather`; adds the rule of the projection, which asks about
    the last visit of each campaign, or all visits `since` a day. since: only findings on readings
    of that day and later. limits: a site's own, as a file or frame (`checks.limits`).
    """
    known, table = limits_with(limits), seen(exposure)
    day = None if since is None else pd.Timestamp(since)
    found = [rule(table, known) for room in (values, peers, rack, dates) for rule in room.RULES]
    if gathered is not None:
        from aging.checks.ahead import ahead  # the model takes longer to load than the rest

        found.append(ahead(table, known, gathered, day))
    rows = pd.concat([one for one in found if len(one)] or found[:1], ignore_index=True)
    rows["finding"] = _ids(rows)
    rows = _without_the_explained(rows)
    if day is not None:
        rows = rows[moments(rows["read_on"]) >= day]
    rows["severity"] = rows["severity"].fillna(rows["rule"].map(RULES["severity"]))
    for name in ("what", "action"):
        rows[name] = rows["rule"].map(RULES[name])
    rows["state"] = _states(exposure.settlements, rows)
    rank = rows["severity"].map({"block": 0, "confirm": 1, "warn": 2, "info": 3})
    order = rows.assign(rank=rank).sort_values(["rank", "site", "read_on", "finding", "panel"])
    return Checked(order[list(COLUMNS)].reset_index(drop=True), known)


def _ids(rows: pd.DataFrame) -> pd.Series:
    where = rows["site"].fillna("") + "/" + rows["panel"].fillna("") + "/" + rows["read_on"]
    key = rows["reading_id"].fillna(where)
    number = rows.groupby(["rule", rows["together"].astype(str)]).ngroup()
    each = key.groupby([number, rows["rule"]]).agg(list)
    names = [finding_id(rule, *keys) for (_, rule), keys in zip(each.index, each, strict=True)]
    return number.map(pd.Series(names, index=each.index.get_level_values(0)))


def _without_the_explained(rows: pd.DataFrame) -> pd.DataFrame:
    """Without what another finding on the same reading says better (`instead_of` of the rules)."""
    better = RULES["instead_of"].dropna().str.split()
    pairs = better.explode().rename("rule").rename_axis("by").reset_index()
    explained = rows[["reading_id", "rule"]].dropna().rename(columns={"rule": "by"}).merge(pairs)
    met = pd.MultiIndex.from_frame(explained[["reading_id", "rule"]])
    return rows[~pd.MultiIndex.from_frame(rows[["reading_id", "rule"]]).isin(met)].copy()


def _states(settlements: pd.DataFrame, rows: pd.DataFrame) -> pd.Series:
    """How each row was decided last; an excluded reading asks for nothing under any rule."""
    last = settlements.drop_duplicates("finding", keep="last")
    excluded = last.loc[last["decision"] == "excluded", "reading_id"].dropna()
    last = last.assign(finding=last["finding"].str.split("/").str[0]).drop_duplicates("finding")
    decided = looked_up(rows["finding"], last.set_index("finding")["decision"])
    decided = decided.mask(decided == "reopened").fillna(OPEN)
    return decided.mask(rows["reading_id"].isin(excluded), "excluded")
