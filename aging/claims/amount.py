"""Gates that ask how much was read: sites, panels, months, visits, and when it will be enough."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from aging.claims.asked import LIMITS, Answer, Asked, counted, listed
from aging.claims.evidence import Evidence
from aging.cube import moments
from aging.decay.tolerance import one_sided_factor
from aging.vocabulary import DAYS_PER_MONTH

MOST_PANELS = 1000


def _sites(asked: Asked) -> Answer:
    sites = sorted(asked.rows["site"].unique())
    short = int(asked.limit) - len(sites)
    seen = counted(len(sites), "site") + (f" ({listed(sites)})" if sites else "")
    how = f"expose it at {counted(short, 'more site')}; they count once they are read as long"
    return short <= 0, seen, f"at least {asked.limit:g}", how


def _panels(asked: Asked) -> Answer:
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
    where = f" at {listed(thin.index)}" if len(thin) else ""
    how = f"read every panel at the next visit, or expose more{where}"
    return (
        bool(len(found)) and thin.empty, f"{when}: {seen}",
        f"at least {asked.limit:g} at each site", how,
    )  # fmt: skip


def _long_enough(asked: Asked, needed: float, allowed: str) -> Answer:
    least = float(asked.seen.min()) if len(asked.rows) else 0.0
    met = least >= needed - 15 / DAYS_PER_MONTH  # a visit within half a month is that month's
    seen = f"{least:.1f} months at the site read least"
    return met, seen, allowed, asked.day(needed)


def _months(asked: Asked) -> Answer:
    return _long_enough(asked, asked.limit, f"at least {asked.limit:g} at each site")


def _ratio(asked: Asked) -> Answer:
    needed = asked.months / asked.limit
    return _long_enough(
        asked, needed, f"at least {needed:g}: {asked.months:g} is at most {asked.limit:g} times it"
    )


def _beyond(asked: Asked) -> Answer:
    needed = max(asked.months - asked.limit, 0.0)
    return _long_enough(
        asked, needed, f"at least {needed:g}: at most {asked.limit:g} before month {asked.months:g}"
    )


def _visits(asked: Asked) -> Answer:
    found = asked.rows.groupby("site")["visit"].nunique()
    least = int(found.min()) if len(found) else 0
    how = f"after {counted(asked.limit - least, 'more visit')}"
    return least >= asked.limit, f"{least} at the site read least", f"at least {asked.limit:g}", how


def _window(asked: Asked) -> Answer:
    near = asked.evidence.around(asked.formulation, asked.months, asked.limit)
    lacking = sorted(set(asked.evidence.sites(asked.formulation)) - set(near["site"]))
    seen = f"not read then: {listed(lacking)}" if lacking else "read then at each site"
    needed = f"within {asked.limit:g} days of month {asked.months:g} at each site"
    early = asked.months - asked.limit / DAYS_PER_MONTH
    over = asked.seen.reindex(lacking).max() > asked.months + asked.limit / DAYS_PER_MONTH
    how = "the window is past: claim another month" if over else asked.day(early)
    return bool(len(near)) and not lacking, seen, needed, how


def _new(asked: Asked) -> Answer:
    rows = asked.rows
    panels = int(rows.loc[rows["months"] <= asked.limit, "panel"].nunique())
    how = "cannot be made good: read the panels of the next exposure when they are new"
    return panels > 0, counted(panels, "panel") + " read when new", "at least 1", how


def _laboratory(asked: Asked) -> Answer:
    panels = laboratory(asked.evidence, asked.formulation)["panel"].nunique()
    how = f"soil and read {counted(asked.limit - panels, 'more panel')} in the laboratory"
    return panels >= asked.limit, counted(panels, "panel"), f"at least {asked.limit:g}", how


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


def _tolerance(asked: Asked) -> Answer:
    found = asked.rows.groupby("site")["panel"].nunique()
    panels = int(found.min()) if len(found) else 0
    sizes = range(2, MOST_PANELS)
    factors = one_sided_factor(list(sizes), asked.share)
    enough = next((n for n, k in zip(sizes, factors, strict=True) if k <= asked.limit), None)
    needed = f"at most {asked.limit:g} spreads: {enough or f'over {MOST_PANELS}'} panels a site"
    text = f"{100 * asked.share:g} % of all roofs with 95 % confidence"
    if panels < sizes[0]:
        return False, f"{counted(panels, 'panel')} tell no spread", needed, "claim the mean only"
    factor = float(factors[panels - sizes[0]])
    seen = f"{panels} panels: the bound of {text} lies {factor:.2f} spreads below the mean"
    how = f"{panels} panels cannot support a statement on {text}: claim the mean only"
    return factor <= asked.limit, seen, needed, how


RULES: dict[str, Callable[[Asked], Answer]] = {
    "sites": _sites,
    "panels": _panels,
    "months": _months,
    "ratio": _ratio,
    "beyond": _beyond,
    "visits": _visits,
    "window": _window,
    "new": _new,
    "laboratory": _laboratory,
    "tolerance": _tolerance,
}
