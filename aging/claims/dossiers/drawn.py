"""What the dossier's figure shows: readings, the course over the mean of the sites, the claim."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from aging.claims.asked import counted
from aging.claims.dossiers.case import Case, figure
from aging.claims.proposal import first_read
from aging.decay.site import Array
from aging.standing import CANNOT
from aging.vocabulary import Property

LEVELS = (0.90, 0.50)
EVERY = 1.5  # months between the points of the curve


@dataclass(frozen=True)
class Fan:
    """What `charts.decay_chart` draws, under its sentence; claimed is None for a criterion."""

    curve: pd.DataFrame
    readings: pd.DataFrame
    prop: Property
    at: float
    claimed: float | None
    statement: str


def fan(case: Case) -> Fan:
    """Readings of the claim's panels, and the projection of their mean over its sites."""
    claim, read = case.claim, case.evidence.of(case.claim.formulation)
    least = float(read.groupby("site")["months"].max().min())
    end = max(claim.months, float(read["months"].max()))
    months = np.unique([*np.arange(0, end, EVERY), claim.months, round(least, 2), end])
    means = _means(case, months)
    status = {
        seen.status for (_, name), seen in case.evidence.fit.standings(claim.months).items()
        if name == claim.formulation
    }  # fmt: skip
    curve = pd.DataFrame([
        {"months": month, "target": target, "level": level, "observed_months": round(least, 2),
         "estimate": ends[1], "lower": ends[0], "upper": ends[2]}
        for target, drawn in means.items() for level in LEVELS
        for month, ends in zip(months, np.quantile(
            drawn, [(1 - level) / 2, 0.5, (1 + level) / 2], axis=1).T.tolist(), strict=True)
    ])  # fmt: skip
    if CANNOT in status:
        curve[["estimate", "lower", "upper"]] = np.nan
    return Fan(
        curve, _readings(case, read), case.prop, claim.months,
        None if pd.isna(claim.value) else claim.value,
        _statement(case, len(read), least, curve),
    )  # fmt: skip


def _means(case: Case, months: Array) -> dict[str, Array]:
    """Draws (M, D) of each target, the mean over the sites of the claim."""
    drawn = case.evidence.fit.draws(list(months), retention=case.retention)
    own = [drawn[site, case.claim.formulation] for site in case.claim.sites]
    return {target: np.mean([one[target] for one in own], axis=0) for target in own[0]}


def _readings(case: Case, read: pd.DataFrame) -> pd.DataFrame:
    """As the chart wants them; a share of the panel's first where the claim tells one."""
    fit, own = case.evidence.fit, case.claim.formulation
    values = fit.of_readings(read["value"].to_numpy(), [own] * len(read))
    if case.retention:
        start = first_read(case.evidence, own).set_index("panel")["value"]
        initial = fit.of_readings(start.to_numpy(), [own] * len(start))
        values = values / read["panel"].map(dict(zip(start.index, initial, strict=True)))
    rows = read.assign(value=values, known=True, read_on=read["at"].dt.strftime("%Y-%m-%d"))
    rows = rows.assign(series=rows["site"], mark="Panel at " + rows["site"]).dropna(subset="value")
    return rows[["months", "value", "panel", "read_on", "known", "series", "mark"]]


def _statement(case: Case, count: int, least: float, curve: pd.DataFrame) -> str:
    claim, prop, kept = case.claim, case.prop, case.retention
    text = (
        f"{prop.label}{' retention' * kept} of {claim.formulation}: {counted(count, 'reading')} "
        f"over {least:.1f} months at {', '.join(claim.sites)}. "
    )
    at = curve[(curve["months"] == claim.months) & (curve["level"] == LEVELS[0])]
    row = at[at["target"] == "reading"].iloc[0]
    if pd.isna(row["estimate"]):
        return text + "The readings carry no projection."
    low, middle, high = (
        figure(row[name], prop, retention=kept) for name in ("lower", "estimate", "upper")
    )
    text += (
        f"Projected for a visit at {claim.months:g} months, mean of the sites: {middle} (90 % "
        f"interval {low} to {high})"
    )
    if pd.isna(claim.value):
        return text + "."
    told = "rated by the body" if claim.basis == "rated" else "claimed"
    return f"{text}; {told}: {figure(claim.value, prop, retention=kept, more=0)}."
