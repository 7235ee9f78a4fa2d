"""Campaigns drawn from the model's own prior, every quantity of its table and grid included.

Written from the equations in DEVELOPERS.md, not from the fit; only what is discrete in the grid is
looked up there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from aging.decay.nodes import COMMON_SHARES, PANEL_SCALES
from aging.decay.site import SiteReadings

LATE = 36.0
COURSES = {
    "exponential": lambda t, k, _: 1 - np.exp(-k * t),
    "stretched": lambda t, k, _: 1 - np.exp(-((k * t) ** 0.6)),
    "delayed": lambda t, k, _: 1 - (1 + k * t) * np.exp(-k * t),
    "power": lambda t, n, span: (t / span) ** n,
}


@dataclass(frozen=True)
class Drawn:
    """A site's course of loss, readings up to now, its groups' state and reading (G,) at LATE."""

    course: str
    readings: SiteReadings
    state: np.ndarray
    reading: np.ndarray


def weather_cov(priors, months):
    """Covariance of wander and season between times."""
    value = priors.value
    gap = np.abs(months[:, None] - months)
    cov = value("wander") ** 2 * np.exp(-gap / value("wander_length"))
    cov += value("season") ** 2 * np.exp(-2 * np.sin(np.pi * gap / value("year")) ** 2)
    grown = 1 - np.exp(-months / value("grow_in"))
    return cov * np.outer(grown, grown)


def draw_site(priors, random, *, groups=3, panels=3, visits=7, last=11.0, dryness_sd=0.25):
    """One site, read at even steps up to `last` months and, as its truth, at LATE."""
    value = priors.value

    def about(name, size=()):
        return random.normal(value(name), priors.spread(name), size)

    def apart(name, *size):
        return random.normal(0, value(name), size)

    far = value("apart") * np.exp(random.normal(0, priors.spread("apart")))

    months = np.append(np.linspace(0, last, visits), LATE)
    grown = 1 - np.exp(-months / value("grow_in"))
    group = np.repeat(np.arange(groups), panels)
    course = random.choice(list(priors.courses), p=list(priors.courses.values()))
    centre, log_sd = priors.parameter(course)
    parameter = centre * np.exp(random.normal(0, log_sd))
    visit_sd = value("visit") * np.exp(random.normal(0, priors.spread("visit")))
    share = random.choice(COMMON_SHARES)
    scale = random.choice(PANEL_SCALES)
    late = value("late_share")
    slow = random.choice(["drift", "drift_wide", "late"], p=[(1 - late) / 2, (1 - late) / 2, late])
    reach = 3**0.5 * priors.spread("late_onset")
    onset = value("late_onset") + random.uniform(-reach, reach)

    def shape(factor):
        return COURSES[course](months, parameter * factor, value("span"))

    phi = shape(1.0)
    pace = (shape(np.exp(1e-5)) - shape(np.exp(-1e-5))) / 2e-5
    own_slope = priors.spread(slow) * value("drift_between_ratio") * random.normal(size=groups)

    def risen(at):
        return expit((at - onset) / value("late_width")) - expit(-onset / value("late_width"))

    run = value("span") * risen(months) / risen(value("span")) if slow == "late" else months
    path = (
        (about("initial") + apart("initial_between", groups))[:, None]
        - (about("loss") + far * apart("loss_between", groups))[:, None] * phi
        - value("loss") * far * apart("pace_between", groups)[:, None] * pace
        - (about(slow) + far * own_slope)[:, None] * run
    )
    weather = random.multivariate_normal(np.zeros(months.size), weather_cov(priors, months))
    state = path + weather
    dry = random.uniform(-1, 1, months.size) * 3**0.5 * dryness_sd
    dirt = about("dryness") + far * apart("dryness_between", groups)
    tail = share**0.5 * visit_sd * random.standard_t(4, months.size)
    alike = (1 - share) ** 0.5 * visit_sd * random.normal(size=state.shape)
    replicates = scale * (
        apart("panel_initial", group.size)[:, None]
        - apart("panel_loss", group.size)[:, None] * phi
        + apart("residual", group.size, months.size)
    )
    read = (state + tail - dirt[:, None] * grown * dry + alike)[group] + replicates
    none = np.zeros(visits)
    readings = SiteReadings(read[:, :-1], group, months[:-1], dry[:-1], none, none, dryness_sd)
    late = np.array([read[group == g, -1].mean() for g in range(groups)])
    return Drawn(str(course), readings, state[:, -1], late)
