"""Evidence gates: what has to stand behind a claim of each basis, as data with a reason.

gates.csv names each gate with its limit, the bases it applies to, why, and where it comes from. A
gate that fails says what is missing and when it can be met, as the panels' exposure tells. What is
not recorded is not met.

A 36-month value counts as substantiated when it reaches no more than twice the months read and no
more than 12 months beyond them (ICH Q1E): from 24 months on. A statement on a share of all roofs
asks more than one on their mean: its bound lies one tolerance factor of the panels' spread away.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from aging.claims.evidence import Evidence
from aging.conditions import HELD_UNDER
from aging.cube import moments
from aging.decay.tolerance import one_sided_factor
from aging.errors import require
from aging.vocabulary import CLAIM_BASES, DAYS_PER_MONTH

GATES = pd.read_csv(Path(__file__).with_name("gates.csv")).set_index("gate")
LIMITS: dict[str, float] = dict(zip(GATES.index, GATES["limit"].tolist(), strict=True))
SHARE = "share of roofs"  # applies_to of the gate of a statement on a share of all roofs
MOST_PANELS = 1000
WASHED = ("like-washed", "recoated", "rose")  # rules of `aging.checks`
LOOK = "run the checks on the source"


@dataclass(frozen=True)
class Gate:
    """One gate: what is seen, what is needed, and where it is not met when or how it can be."""

    gate: str
    met: bool
    seen: str
    needed: str
    how: str
    reason: str
    source: str


@dataclass(frozen=True)
class _Asked:
    evidence: Evidence
    formulation: str
    basis: str
    months: float
    rating: str
    share: float
    limit: float

    @property
    def rows(self) -> pd.DataFrame:
        return self.evidence.of(self.formulation)

    @property
    def seen(self) -> pd.Series:
        """Months read at each site of the formulation."""
        return self.rows.groupby("site")["months"].max()

    def day(self, months: float) -> str:
        """By when all of its sites have been exposed so long, as text."""
        last = moments(self.rows["exposed_on"]).max()
        if pd.isna(last):
            return f"{months:g} months after its panels are exposed"
        return f"from {last + pd.Timedelta(days=math.ceil(months * DAYS_PER_MONTH)):%Y-%m-%d} on"


Answer = tuple[bool, str, str, str]  # met, seen, needed, how


def assess(
    evidence: Evidence,
    formulation: str,
    basis: str,
    months: float = 36.0,
    *,
    rating: str = "",
    share: float | None = None,
) -> tuple[Gate, ...]:
    """The gates of a basis (`vocabulary.CLAIM_BASES`), in the order of gates.csv.

    rating: identifier and body of a rating. share: of all roofs that a statement speaks of, where
    it speaks of more than their mean, such as 0.95.
    """
    require(basis in CLAIM_BASES, "basis", basis, CLAIM_BASES)
    require(share is None or 0 < share < 1, "share", share, "between 0 and 1, such as 0.95")
    wanted = {basis} | ({SHARE} if share is not None else set())
    found = []
    for name, row in GATES.iterrows():
        if wanted.isdisjoint(row["applies_to"].split("; ")):
            continue
        limit = LIMITS[str(name)]
        asked = _Asked(evidence, formulation, basis, months, rating, share or 0.0, limit)
        met, seen, needed, how = RULES[str(name)](asked)
        found.append(
            Gate(str(name), met, seen, needed, "" if met else how, row["reason"], row["source"])
        )
    return tuple(found)


def _doubts(asked: _Asked) -> pd.DataFrame | None:
    """Open findings on the panels of the formulation."""
    found = asked.evidence.findings
    return None if found is None else found[found["panel"].isin(set(asked.rows["panel"]))]


def _counted(number: float, what: str) -> str:
    return f"{number:g} {what if number == 1 else what + 's'}"


def _listed(names: Iterable[Any]) -> str:
    every = [str(name) for name in names]
    return ", ".join(every[:5]) + (f" and {len(every) - 5} more" if len(every) > 5 else "")  # noqa: PLR2004


def _sites(asked: _Asked) -> Answer:
    sites = sorted(asked.rows["site"].unique())
    short = int(asked.limit) - len(sites)
    seen = _counted(len(sites), "site") + (f" ({_listed(sites)})" if sites else "")
    how = f"expose it at {_counted(short, 'more site')}; they count once they are read as long"
    return short <= 0, seen, f"at least {asked.limit:g}", how


def _panels(asked: _Asked) -> Answer:
    rows = asked.rows
    if asked.basis == "measured":
        window = LIMITS["window"]
        rows, when = asked.evidence.around(asked.formulation, asked.months, window), "then"
    else:
        last = rows.groupby("site")["visit"].transform("max")
        rows, when = rows[rows["visit"] == last], "at the last visit"
    found = rows.groupby("site")["panel"].nunique()
    thin = found[found < asked.limit]
    seen = ", ".join(f"{site} {count}" for site, count in found.items()) or "none"
    where = f" at {_listed(thin.index)}" if len(thin) else ""
    how = f"read every panel at the next visit, or expose more{where}"
    return (
        bool(len(found)) and thin.empty, f"{when}: {seen}",
        f"at least {asked.limit:g} at each site", how,
    )  # fmt: skip


def _long_enough(asked: _Asked, needed: float, allowed: str) -> Answer:
    least = float(asked.seen.min()) if len(asked.rows) else 0.0
    met = least >= needed - 15 / DAYS_PER_MONTH  # a visit within half a month is that month's
    seen = f"{least:.1f} months at the site read least"
    return met, seen, allowed, asked.day(needed)


def _months(asked: _Asked) -> Answer:
    return _long_enough(asked, asked.limit, f"at least {asked.limit:g} at each site")


def _ratio(asked: _Asked) -> Answer:
    needed = asked.months / asked.limit
    return _long_enough(
        asked, needed, f"at least {needed:g}: {asked.months:g} is at most {asked.limit:g} times it"
    )


def _beyond(asked: _Asked) -> Answer:
    needed = max(asked.months - asked.limit, 0.0)
    return _long_enough(
        asked, needed, f"at least {needed:g}: at most {asked.limit:g} before month {asked.months:g}"
    )


def _visits(asked: _Asked) -> Answer:
    found = asked.rows.groupby("site")["visit"].nunique()
    least = int(found.min()) if len(found) else 0
    how = f"after {_counted(asked.limit - least, 'more visit')}"
    return least >= asked.limit, f"{least} at the site read least", f"at least {asked.limit:g}", how


def _window(asked: _Asked) -> Answer:
    near = asked.evidence.around(asked.formulation, asked.months, asked.limit)
    lacking = sorted(set(asked.evidence.sites(asked.formulation)) - set(near["site"]))
    seen = f"not read then: {_listed(lacking)}" if lacking else "read then at each site"
    needed = f"within {asked.limit:g} days of month {asked.months:g} at each site"
    early = asked.months - asked.limit / DAYS_PER_MONTH
    over = asked.seen.reindex(lacking).max() > asked.months + asked.limit / DAYS_PER_MONTH
    how = "the window is past: claim another month" if over else asked.day(early)
    return bool(len(near)) and not lacking, seen, needed, how


def _new(asked: _Asked) -> Answer:
    rows = asked.rows
    panels = int(rows.loc[rows["months"] <= asked.limit, "panel"].nunique())
    how = "cannot be made good: read the panels of the next exposure when they are new"
    return panels > 0, _counted(panels, "panel") + " read when new", "at least 1", how


def _laboratory(asked: _Asked) -> Answer:
    panels = laboratory(asked.evidence, asked.formulation)["panel"].nunique()
    how = f"soil and read {_counted(asked.limit - panels, 'more panel')} in the laboratory"
    return panels >= asked.limit, _counted(panels, "panel"), f"at least {asked.limit:g}", how


def laboratory(evidence: Evidence, formulation: str) -> pd.DataFrame:
    """Readings after laboratory soiling of the fitted property, with the facts of their panels."""
    exposure = evidence.fit.exposure
    rows = exposure.readings
    rows = rows[rows["property"] == evidence.fit.gathered.property.name]
    rows = rows[rows["evidence"] == "laboratory_soiling"].merge(exposure.panels, on="panel")
    rows = rows[rows["formulation"] == formulation]
    return (
        rows.assign(at=moments(rows["read_on"]))
        .sort_values("at")
        .drop_duplicates("panel", keep="last")
    )


def _identifier(asked: _Asked) -> Answer:
    how = "name the body, its identifier and the date once the body has issued it"
    return bool(asked.rating.strip()), asked.rating.strip() or "none", "an issued rating", how


def _unwashed(asked: _Asked) -> Answer:
    found = _doubts(asked)
    if found is None:
        return False, "not looked for", "no panel doubted as washed", LOOK
    mine = found[found["rule"].isin(WASHED)]
    panels = mine["panel"].unique()
    how = f"say of {_listed(panels)} whether it was washed; if so, log the event: its series ends"
    return len(panels) == 0, _counted(len(panels), "panel") + " doubted", "none", how


def _calibration(asked: _Asked) -> Answer:
    rows = asked.rows
    if asked.evidence.fit.exposure.instruments.empty:
        due = pd.Series(dtype="str")
    else:
        due = asked.evidence.fit.exposure.instruments.set_index("instrument")["calibration_due"]
    until = moments(rows["instrument"].map(due).astype("str"))
    unnamed = int(rows["instrument"].isna().sum())
    unknown = rows["instrument"][until.isna()].dropna().unique()
    late = rows["instrument"][until < rows["at"].dt.normalize()].unique()
    parts = [
        f"{_counted(unnamed, 'reading')} without an instrument" if unnamed else "",
        f"no calibration recorded of {_listed(unknown)}" if len(unknown) else "",
        f"overdue when read: {_listed(late)}" if len(late) else "",
    ]
    how = [
        "name the instrument of each reading" if unnamed else "",
        "record calibration_due in the instruments sheet" if len(unknown) else "",
        "enter the renewed calibration, or read again" if len(late) else "",
    ]
    seen = "; ".join(filter(None, parts)) or ("all valid" if len(rows) else "no readings")
    return (
        seen == "all valid",
        seen,
        "valid on the day of each reading",
        "; ".join(filter(None, how)),
    )


def _conditions(asked: _Asked) -> Answer:
    columns = list(HELD_UNDER.get(asked.evidence.fit.gathered.property.name, ()))
    if not columns:
        return True, "this property has none", "one at all sites", ""
    kinds = asked.rows[columns].dropna(how="all").drop_duplicates()
    told = [" ".join(str(cell) for cell in row if pd.notna(cell)) for row in kinds.to_numpy()]
    how = "claim the sites apart, or apply one weighting to the stored spectra"
    if not told:
        how = f"record {' and '.join(columns)} with the readings"
    return len(told) == 1, "; ".join(told) or "not recorded", "one, stated, at all sites", how


def _formula(asked: _Asked) -> Answer:
    known, needed = asked.evidence.changes, "none"
    if known is None:
        how = "load the readings into a store, which keeps every version of a formulation"
        return False, "not known: sheets keep no earlier versions", needed, how
    rows = known[known["formulation"] == asked.formulation].fillna("")
    if rows.empty:
        return False, "the formulation is not described", needed, "describe it in formulations"
    other = (rows[["description", "extra"]] != rows[["description", "extra"]].shift()).any(axis=1)
    other.iloc[0] = False
    start = moments(asked.rows["exposed_on"]).min()
    later = rows[other & (moments(rows["recorded_at"]) > start)]
    seen = _counted(len(later), "change")
    if len(later):
        seen += f", the last recorded on {later['recorded_at'].iloc[-1][:10]}"
    return later.empty, seen, needed, "give the changed formula a name and panels of its own"


def _findings(asked: _Asked) -> Answer:
    found = _doubts(asked)
    if found is None:
        return False, "not looked for", "none", LOOK
    ids = found.loc[found["severity"] == "block", "finding"].unique()
    how = f"settle {_listed(ids)} (aging settle)"
    return len(ids) == 0, _counted(len(ids), "finding"), "none", how


def _coverage(asked: _Asked) -> Answer:
    found = asked.evidence.coverage
    needed = f"{100 * asked.limit:g} %, as far as chance lets one tell"
    how = "when later readings exist that an earlier forecast can be held against"
    if found is None or found.empty:
        return False, "no forecast has been held against a later reading", needed, how
    least = float(asked.seen.min()) if len(asked.rows) else 0.0
    row = found.iloc[int((found["cut"] - least).abs().argmin())]
    seen = f"{100 * row['coverage']:.0f} % of {row['n_series']:.0f} series held from month "
    seen += f"{row['cut']:g} on (up to {100 * row['coverage_upper']:.0f} % by chance)"
    how = "look at the back-test for the site or the season that was missed"
    return bool(row["coverage_upper"] >= asked.limit), seen, needed, how


def _tolerance(asked: _Asked) -> Answer:
    found = asked.rows.groupby("site")["panel"].nunique()
    panels = int(found.min()) if len(found) else 0
    sizes = range(2, MOST_PANELS)
    factors = one_sided_factor(list(sizes), asked.share)
    enough = next((n for n, k in zip(sizes, factors, strict=True) if k <= asked.limit), None)
    needed = f"at most {asked.limit:g} spreads: {enough or f'over {MOST_PANELS}'} panels a site"
    text = f"{100 * asked.share:g} % of all roofs with 95 % confidence"
    if panels < sizes[0]:
        return False, f"{_counted(panels, 'panel')} tell no spread", needed, "claim the mean only"
    factor = float(factors[panels - sizes[0]])
    seen = f"{panels} panels: the bound of {text} lies {factor:.2f} spreads below the mean"
    how = f"{panels} panels cannot support a statement on {text}: claim the mean only"
    return factor <= asked.limit, seen, needed, how


RULES: dict[str, Callable[[_Asked], Answer]] = {
    "sites": _sites, "panels": _panels, "months": _months, "ratio": _ratio, "beyond": _beyond,
    "visits": _visits, "window": _window, "new": _new, "laboratory": _laboratory,
    "identifier": _identifier, "unwashed": _unwashed, "calibration": _calibration,
    "conditions": _conditions, "formula": _formula, "findings": _findings,
    "coverage": _coverage, "tolerance": _tolerance,
}  # fmt: skip
