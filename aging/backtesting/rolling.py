"""Rolling origin: cut, forecast with the model and its rivals, score."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import ndtri

from aging.backtesting.board import Backtest, scored
from aging.backtesting.origins import Origin, origins
from aging.backtesting.rivals import RIVALS, Past, Rival
from aging.decay.priors import Priors
from aging.decay.scores import crps_draws, crps_normal
from aging.decay.site import Array
from aging.errors import ModelError, require
from aging.projection import gather, posterior, priors_known
from aging.projection.states import tails
from aging.records import Exposure
from aging.vocabulary import Property

CUTS = (6.0, 9.0, 12.0, 18.0, 24.0)
MODEL = "model"
BOUND = 0.90  # the lower end of such an interval is the one-sided 95 % bound
DRAWS = 1000


def backtest(
    source: str | Path | Exposure,
    property: str = "solar_reflectance",  # noqa: A002 - the field's own word
    cuts: Sequence[float] = CUTS,
    level: float = 0.90,
    horizon: float | None = None,
    *,
    rivals: Sequence[str] = tuple(RIVALS),
    draws: int = DRAWS,
    priors: str | Path | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> Backtest:
    """Forecast what every campaign of a source read later from each of its `cuts`, and score it.

    cuts and horizon: months exposed at the cut, and the most months after it. rivals: names of
    RIVALS. draws: of the model's posterior. Campaigns of the climate that were closed by the day of
    the cut teach the priors, as they do in `aging.fit`. The site's average dryness is taken from
    its whole weather record; nothing else later than a cut is known to a forecast. ModelError where
    no cut leaves anything to forecast.
    """
    wanted = tuple(sorted({float(cut) for cut in cuts}))
    require(bool(wanted) and wanted[0] >= 0, "cuts", cuts, "months, 0 or more, such as 6, 12, 24")
    require(0 < level < 1, "level", level, "between 0 and 1, such as 0.90")
    require(horizon is None or horizon > 0, "horizon", horizon, "months, more than 0, or None")
    for name in rivals:
        require(name in RIVALS, "rivals", name, RIVALS)
    found = gather(source, property, priors=priors)
    jobs = [job for one in found.campaigns for job in origins(one, wanted, horizon)]
    if not jobs:
        last = max(one.readings.last for one in found.campaigns)
        raise ModelError(
            f"no reading of {found.property.name} follows any cut at {wanted} months; the last "
            f"stands at {last:.1f} months exposed: name earlier cuts"
        )
    roles = found.exposure.formulations
    controls = set(roles.loc[roles["role"] == "control", "formulation"])
    priors_on = priors_known(found)
    parts = []
    for number, job in enumerate(jobs, start=1):
        known = priors_on(job.campaign, job.day)
        parts.append(_by_model(job, known, level, draws))
        past = Past(job.months, job.means, _control(job, controls))
        parts += [_by_rival(job, past, name, found.property, level) for name in rivals]
        if on_progress is not None:
            on_progress(number, len(jobs))
    scores = scored(pd.concat(parts, ignore_index=True), level, (MODEL, *rivals))
    return Backtest(scores, found.property.name, level, found.notes)


def _control(origin: Origin, controls: set[str]) -> int | None:
    names = [origin.campaign.formulations[group] for group in origin.groups]
    return next((place for place, name in enumerate(names) if name in controls), None)


def _by_model(origin: Origin, priors: Priors, level: float, draws: int) -> pd.DataFrame:
    fitted = posterior(origin.campaign, priors, readings=origin.past, draws=draws)
    reading = np.moveaxis(fitted.at(origin.ahead)[1], 1, -1).swapaxes(0, 1)  # G, M, D
    shares = [*tails(level, priors.value("upper_half")), 0.05]
    lower, middle, upper, bound = np.quantile(reading, shares, axis=-1)
    crps = crps_draws(np.nan_to_num(origin.later), reading)
    why = [""] * origin.groups.size
    return _rows(origin, MODEL, (middle, lower, upper, bound, crps), why)


def _by_rival(origin: Origin, past: Past, name: str, prop: Property, level: float) -> pd.DataFrame:
    """A rival's rows; it may not leave the range of the property, nor have an end without limit."""

    def asked(rival: Rival, at: float) -> tuple[list[Array], list[str]]:
        found = rival(past, origin.ahead, at)
        columns = [np.array([getattr(f, n) for f in found]) for n in ("estimate", "lower", "upper")]
        return [np.clip(x, prop.low, prop.high) for x in columns], [f.why for f in found]

    (estimate, lower, upper), why = asked(RIVALS[name], level)
    bound = lower if level == BOUND else asked(RIVALS[name], BOUND)[0][1]
    spread = (upper - lower) / (2 * ndtri(0.5 + level / 2))
    crps = np.full_like(estimate, np.nan)
    given = ~np.isnan(spread) & ~np.isnan(origin.later)
    crps[given] = crps_normal(origin.later[given], estimate[given], spread[given])
    return _rows(origin, name, (estimate, lower, upper, bound, crps), why)


def _rows(origin: Origin, name: str, columns: Sequence[Array], why: list[str]) -> pd.DataFrame:
    """One row a later mean, from arrays (G, M)."""
    groups, ahead = origin.later.shape
    names = np.array([origin.campaign.formulations[group] for group in origin.groups])
    frame = pd.DataFrame({
        "site": origin.campaign.site,
        "formulation": np.repeat(names, ahead),
        "campaign": origin.campaign.exposed_on.date().isoformat(),
        "cut": origin.cut,
        "months": np.tile(origin.ahead, groups),
        "horizon": np.tile(origin.ahead - origin.cut, groups),
        "forecaster": name,
        "observed": origin.later.ravel(),
        **dict(zip(("estimate", "lower", "upper", "bound_05", "crps"),
                   (column.ravel() for column in columns), strict=True)),
        "missing": np.repeat(why, ahead),
    })  # fmt: skip
    return frame[frame["observed"].notna()]
