"""May batches of a formulation, or sites, be averaged? What stands beside the mean where not.

A test on the readings seen so far, in the order of ICH Q1E with panels as the unit (`steps`); it
knows nothing of the projection. Batches are tested on the formulation's own readings, all sites
together; sites on the difference to the control that hangs beside it. The drift of instruments,
where known, is taken off. That a test does not object is no proof that groups agree: two batches
of three panels seldom show it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from aging.comparison.differences import pairs_of
from aging.comparison.steps import two_steps
from aging.decay.site import Array
from aging.projection import Fit

BATCHES, SITES = "batches", "sites"
AVERAGE, APART, UNTESTED = "may be averaged", "look at the worst", "cannot be tested"
COLUMNS = (
    "what", "formulation", "against", "property", "groups", "n_panels", "p_slopes", "p_intercepts",
    "decided_by", "verdict", "estimate", "worst", "worst_estimate", "notes",
)  # fmt: skip
NOT_RECORDED = "no batch is recorded: name each panel's in the column paint_batch"
ALONE = {BATCHES: "one batch: nothing to compare", SITES: "one site: nothing to compare"}
GROUPED = {BATCHES: "batch", SITES: "site"}
LEFT_OUT = "{} panels without a batch left out"
TANGLED = "not side by side, or no two panels alike"


def poolability(fitted: Fit, *, against: str | None = None) -> pd.DataFrame:
    """A row (COLUMNS) a formulation for its batches, where recorded, and for its sites.

    estimate: mean of the last visits, for sites of the difference to the control; worst_estimate:
    that of the group that does worst, by lines of its own at the last month read.
    """
    rows = readings(fitted)
    found = [_batches(fitted, str(name), own) for name, own in rows.groupby("formulation")
             if own["batch"].notna().any()]  # fmt: skip
    found += [_sites(fitted, rows, *pair) for pair in pairs_of(fitted, against)]
    return pd.DataFrame(found, columns=list(COLUMNS))


def not_recorded(frame: pd.DataFrame) -> tuple[str, ...]:
    """A note where no batch of any formulation is recorded."""
    return () if (frame["what"] == BATCHES).any() else (NOT_RECORDED,)


def readings(fitted: Fit) -> pd.DataFrame:
    """Readings that the fit rests on, unwashed, as values of what is told.

    Columns site, campaign, visit (numbered over all campaigns), panel, batch, formulation, months,
    value.
    """
    batch = fitted.exposure.panels.set_index("panel")["paint_batch"]
    parts, visits = [], 0
    for number, one in enumerate({id(each.posterior): each for each in fitted.series}.values()):
        campaign = one.campaign
        table = campaign.readings.values[:, campaign.readings.washed == 0]  # noqa: PD011
        panel, visit = np.nonzero(~np.isnan(table))
        mix = np.array(campaign.formulations)[campaign.readings.group[panel]]
        part = pd.DataFrame({
            "site": campaign.site, "campaign": number, "visit": visit + visits,
            "panel": np.array(campaign.panels)[panel], "formulation": mix,
            "months": campaign.months[visit],
            "value": fitted.of_readings(table[panel, visit], mix.tolist()),
        })  # fmt: skip
        parts.append(part.assign(batch=part["panel"].map(batch)))
        visits += table.shape[1]
    return pd.concat(parts, ignore_index=True)


def batches_of(fitted: Fit, formulation: str) -> dict[str, Any] | None:
    """The row of a formulation's batches; None where none is recorded."""
    rows = readings(fitted)
    own = rows[rows["formulation"] == formulation]
    return _batches(fitted, formulation, own) if own["batch"].notna().any() else None


def _batches(fitted: Fit, formulation: str, rows: pd.DataFrame) -> dict[str, Any]:
    known = rows.dropna(subset="batch")
    without = rows["panel"].nunique() - known["panel"].nunique()
    last = known[known["visit"] == known.groupby("campaign")["visit"].transform("max")]
    level = float(last.groupby("campaign")["value"].mean().mean())
    row = _tested(fitted, known, BATCHES, np.ones(len(known)))
    if "estimate" in row:
        row |= {
            "estimate": level,
            "worst_estimate": level - row["estimate"] + row["worst_estimate"],
        }
    if without:
        row["notes"] = "; ".join(filter(None, (row["notes"], LEFT_OUT.format(without))))
    return {"formulation": formulation, "against": ""} | row


def _sites(fitted: Fit, rows: pd.DataFrame, formulation: str, other: str) -> dict[str, Any]:
    own = rows[rows["formulation"].isin([formulation, other])]
    own = own[own.groupby("campaign")["formulation"].transform("nunique") > 1]
    share = np.where(own["formulation"] == formulation, 1.0, 0.0)
    return {"formulation": formulation, "against": other} | _tested(fitted, own, SITES, share)


def _tested(fitted: Fit, rows: pd.DataFrame, what: str, share: Array) -> dict[str, Any]:
    """Verdict and figures; of batches these are known up to a constant."""
    code, names = pd.factorize(rows[GROUPED[what]], sort=True)
    mine = rows[["panel"]].assign(group=code)[share > 0].drop_duplicates()
    row = {"what": what, "property": fitted.measured.name, "groups": ", ".join(map(str, names)),
           "n_panels": len(mine), "verdict": UNTESTED}  # fmt: skip
    if len(names) == 1:
        return row | {"notes": ALONE[what]}
    steps = two_steps(
        rows["value"].to_numpy(), rows["months"].to_numpy(), group=code, share=share,
        visit=pd.factorize(rows["visit"])[0], panel=pd.factorize(rows["panel"])[0],
    )  # fmt: skip
    row |= {"p_slopes": steps.p_slopes, "p_intercepts": steps.p_intercepts,
            "decided_by": steps.decided_by}  # fmt: skip
    if not steps.decided_by:
        return row | {"notes": TANGLED}
    weight = mine["group"].value_counts(sort=False).sort_index() if what == BATCHES else None
    sign = -1.0 if fitted.measured.higher_is_better is False else 1.0
    worst = int(np.argmin(sign * steps.offset))
    return row | {
        "verdict": AVERAGE if steps.poolable else APART, "worst": str(names[worst]),
        "estimate": float(np.average(steps.offset, weights=weight)),
        "worst_estimate": float(steps.offset[worst]), "notes": "",
    }  # fmt: skip
