"""How dirt, growth and sunlight act on a panel, day by day.

Notation (all covers are optical depths, dimensionless):
    L loose cover    settles from PM10, rain washes it off, wind blows some off
    B bound cover    what loose dirt leaves behind in damp air; saturates, storms scour a little
    G growth cover   logistic in warm damp days, hence a lag and then a fast rise
    U ultraviolet dose [MJ/m2], proportional to slow weathering (yellowing, chalking)
    R = R_dirt + (R0 - R_dirt) exp(-(L + B + G)) - WEATHERING U

Composition acts on two traits only: hollow spheres raise the initial reflectance R0 and slightly
the stickiness; silica lowers the stickiness, most at 9 % by weight, and a little more where
spheres are present (a planted interaction). These are assumptions of an invented scenario, not
findings: they give the tests something to recover.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from aging.simulation.weather import Array, Climate, Count

R_DIRT = 0.20
SETTLING = 1.1e-4  # cover per day and ug/m3 on a surface of stickiness 1
LOOSE_LIMIT = 0.16
BINDING = 0.045  # share of loose cover bound per damp day
SCOUR = 0.001  # share of bound cover that a washing rain takes
GROWTH_RATE = 0.027  # per fully warm and damp day
GROWTH_SEED, GROWTH_LIMIT = 0.0012, 0.13
WEATHERING = 2.0e-5  # reflectance per MJ/m2 of ultraviolet
SETTLED_DAYS = 60  # by then loose dirt has found its level
LEFT = 0.35  # share of bound cover and growth that washing leaves


@dataclass(frozen=True)
class Cover:
    """Covers and dose; arrays share one shape (days or visits first, then sites, ...)."""

    loose: Array
    bound: Array
    growth: Array
    dose: Array

    def at(self, day: Count, site: Count) -> Cover:
        """The same at some days and sites."""
        parts = (self.loose, self.bound, self.growth, self.dose)
        return Cover(*(part[day, site] for part in parts))

    def times(self, factor: npt.ArrayLike) -> Cover:
        """Every part multiplied, as by 0 for what stays indoors."""
        at = np.asarray(factor, dtype=float)
        return Cover(self.loose * at, self.bound * at, self.growth * at, self.dose * at)

    def washed(self) -> Cover:
        """After washing."""
        return replace(
            self, loose=0 * self.loose, bound=LEFT * self.bound, growth=LEFT * self.growth
        )

    def reflectance(self, initial: Array) -> Array:
        """Solar reflectance [fraction] of a surface that began at `initial`."""
        clear = np.exp(-(self.loose + self.bound + self.growth))
        return R_DIRT + (initial - R_DIRT) * clear - WEATHERING * self.dose


def traits(
    silica_wt_pct: npt.ArrayLike, hollow_sphere_vol_pct: npt.ArrayLike
) -> tuple[Array, Array]:
    """Initial reflectance [fraction] and stickiness [1 = control] from composition."""
    dose = np.asarray(silica_wt_pct, dtype=float) / 9
    hump = dose * np.exp(1 - dose)
    spheres = np.asarray(hollow_sphere_vol_pct, dtype=float) / 30
    initial = 0.815 + 0.052 * (1 - np.exp(-2 * spheres))
    return initial, 1 + 0.12 * spheres - 0.38 * hump - 0.10 * hump * spheres


def weather_panels(
    weather: dict[str, Array], climates: Sequence[Climate], hold: Array, growth: Array
) -> Cover:
    """Covers at the end of each day, (days, sites, ...) for panel factors (sites, ...).

    `hold` multiplies what settles, what binds and how much can be bound; `growth` the rate of
    growth. Day 0 is the day of mounting: still clean.
    """
    axes = (slice(None), slice(None)) + (None,) * (hold.ndim - 1)
    rain, pm10 = weather["rain_mm"], weather["pm10_ug_m3"]
    humidity, warm = weather["relative_humidity_pct"], weather["temperature_C"]
    wind = np.array([climate.wind for climate in climates])
    settle = (SETTLING * pm10)[axes] * hold
    keep = ((1 - wind) * (0.12 + 0.88 * np.exp(-rain / 4)))[axes]
    bind = (BINDING * (humidity / 80) ** 2)[axes] * hold
    scour = (SCOUR * (1 - np.exp(-rain / 10)))[axes]
    limit = np.array([climate.bound_limit for climate in climates])[axes[1:]] * hold

    loose, bound = np.zeros_like(settle), np.zeros_like(settle)
    on, full = np.zeros_like(hold), np.zeros_like(hold)
    for day, (falls, stays, binds, holds) in enumerate(
        zip(settle[1:], keep[1:], bind[1:], 1 - scour[1:], strict=True), start=1
    ):
        on = (on + falls * (1 - on / LOOSE_LIMIT)) * stays
        moved = binds * on * (1 - full / limit)
        loose[day] = on = on - moved
        bound[day] = full = full * holds + moved

    damp = np.clip((humidity - 65) / 25, 0, 1) * np.clip((warm - 12) / 15, 0, 1)
    damp[0] = 0
    ripe = np.exp(GROWTH_RATE * np.cumsum(damp, axis=0)[axes] * growth)
    grown = GROWTH_LIMIT / (1 + (GROWTH_LIMIT / GROWTH_SEED - 1) / ripe) - GROWTH_SEED
    sun = np.cumsum(weather["uv_MJ_m2"], axis=0) - weather["uv_MJ_m2"][0]
    return Cover(loose, bound, grown, np.broadcast_to(sun[axes], settle.shape))


def usual(daily: Array) -> Array:
    """Mean over the days (first axis) on which loose dirt has found its level."""
    mean: Array = daily[min(SETTLED_DAYS, len(daily) // 2) :].mean(axis=0)
    return mean
