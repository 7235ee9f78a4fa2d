"""The rule of the projection: a reading outside the interval foretold from what was read before.

Each visit asked about is hidden with all later ones, the campaign fitted, and every panel's reading
foretold: the mean of its formulation's panels at such a visit, plus where the panel stood among
them, plus the repeat of one reading. Fits take about a second each, so by default only the last
visit of each campaign is asked about.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from aging.campaigns import Campaign
from aging.checks.hits import NONE, hits, several
from aging.checks.limits import Limits
from aging.checks.table import RACK, Seen
from aging.decay.priors import Priors
from aging.decay.site import Array, Index
from aging.projection import Gathered, posterior, priors_known
from aging.projection.gathering import side_by_side

DRAWS, LEAST_VISITS = 2000, 3


@dataclass(frozen=True)
class _Asked:
    """A visit of a campaign (its place among the visits) and the priors of the day before."""

    campaign: Campaign
    visit: int
    priors: Priors


def ahead(
    seen: Seen, limits: Limits, gathered: Gathered, since: pd.Timestamp | None = None
) -> pd.DataFrame:
    """Readings outside their interval; where most of a visit are, they make one finding."""
    todo = list(_asked(gathered, since))
    level = {site: limits.value("ahead", "level", site) for site in seen.series["site"].unique()}

    def foretold(one: _Asked) -> pd.DataFrame:
        return _foretold(one, level[one.campaign.site])

    parts = [part for part in side_by_side(foretold, todo) if len(part)]
    if not parts:
        return NONE
    rows = seen.series.merge(pd.concat(parts), on=["panel", "day"])
    out = (rows["read"] - rows["read"].clip(rows["least"], rows["most"])).map(np.sign)
    by = [rows[name] for name in RACK]
    alike = out.groupby(by).transform("mean").abs() > 1 / 2
    visit = rows.groupby(RACK).ngroup().astype(str)
    rows["whole"] = np.where(alike, ", like most of the visit", "")
    rows["finding"] = visit.where(alike, visit + "/" + rows["panel"])
    rows = rows[out != 0]
    return hits(
        "ahead", rows, several(rows, "{value:.3f}{whole}"),
        several(rows, "{least:.3f} to {most:.3f} was foretold"), together=rows["finding"],
    )  # fmt: skip


def _asked(gathered: Gathered, since: pd.Timestamp | None) -> Iterator[_Asked]:
    priors_on = priors_known(gathered)
    for campaign in gathered.campaigns:
        days = campaign.visits.normalize()
        unwashed = np.flatnonzero(campaign.readings.washed == 0)
        for place in unwashed[LEAST_VISITS:]:
            wanted = place == unwashed[-1] if since is None else days[place] >= since
            if wanted:
                day = days[place] - pd.Timedelta(days=1)
                yield _Asked(campaign, int(place), priors_on(campaign, day))


def _foretold(asked: _Asked, level: float) -> pd.DataFrame:
    """The interval (least, most) and the reading of each panel read at the visit."""
    campaign, readings = asked.campaign, asked.campaign.readings
    days = campaign.visits.normalize()
    table = readings.values  # noqa: PD011 - an array, not a frame
    past = days < days[asked.visit]
    known = ~np.isnan(table[:, past & (readings.washed == 0)])
    groups = np.unique(readings.group[known.any(axis=1)])
    panels = np.flatnonzero(known.any(axis=1) & ~np.isnan(table[:, asked.visit]))
    before = readings.visits(past).only_groups(groups)
    fitted = posterior(campaign, asked.priors, readings=before, draws=DRAWS)
    drawn = fitted.at([readings.months[asked.visit]])[1][0]
    own = np.searchsorted(groups, readings.group[panels])
    offset, times = _offsets(table[:, past & (readings.washed == 0)], readings.group)
    share = 1 - 1 / before.panels[own]
    sd = fitted.spreads.residual * np.sqrt(share * (1 + 1 / times[panels]))
    noise = np.random.default_rng(0).standard_normal((len(drawn), 1))
    each = drawn[:, own] + offset[panels] + sd * noise
    least, most = np.quantile(each, [(1 - level) / 2, (1 + level) / 2], axis=0)
    return pd.DataFrame({
        "panel": np.array(campaign.panels)[panels], "day": days[asked.visit],
        "read": table[panels, asked.visit], "least": least, "most": most,
    }).astype({"panel": "str"})  # fmt: skip


def _offsets(table: Array, group: Index) -> tuple[Array, Array]:
    """Mean departure of each panel from its group over the visits (P, V), and visits behind it."""
    frame = pd.DataFrame(table)
    apart = frame - frame.groupby(group).transform("mean")
    times = apart.notna().sum(axis=1)
    return apart.mean(axis=1).fillna(0.0).to_numpy(), times.clip(lower=1).to_numpy()
