"""Seeded daily weather of three invented climates.

Two persistent standard-normal series per site (days and weeks long) decide rain, so that dry
spells last; temperature, humidity, sunlight and dust follow season and rain. Every figure is
assumed for the demo and describes no real place; the climates' order (humid and hot, dry and
hot, temperate and urban) is the usual trio for roof reflectance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Count = npt.NDArray[np.int_]
Flag = npt.NDArray[np.bool_]
Day = npt.NDArray[np.datetime64]


@dataclass(frozen=True)
class Climate:
    """Yearly means and summer swings (half of summer minus winter) of a climate.

    Units: temperature C, humidity %, solar MJ/m2 a day, uv_share of solar, PM10 ug/m3, rain mm.

    `rain_rarity` is the standard-normal threshold for rain; `bound_limit` is the cover that
    its dirt can bind (soot and organics more than mineral dust); `wind` the daily share of loose
    dirt that blows off.
    """

    rain_rarity: float
    rain_rarity_swing: float
    rain: float
    temperature: float
    temperature_swing: float
    humidity: float
    solar: float
    solar_swing: float
    uv_share: float
    pm10: float
    dust_rate: float
    bound_limit: float
    wind: float


CLIMATES = MappingProxyType(
    {
        "hot-humid": Climate(0.35, -0.5, 15, 24, 5, 78, 18.0, 5.0, 0.046, 27, 0.002, 0.26, 0.02),
        "hot-dry": Climate(1.45, -0.1, 6, 23, 10, 32, 23.0, 7.0, 0.042, 48, 0.012, 0.07, 0.06),
        "temperate-urban": Climate(
            0.4, 0.1, 7, 11, 12, 68, 14.5, 8.0, 0.041, 36, 0.001, 0.25, 0.02
        ),
    }
)


def _persistent(noise: Array, memory: Sequence[float]) -> Array:
    """First-order autoregressive series along the first axis of standard-normal `noise`.

    `noise` (days, series, sites) with one memory for each series.
    """
    kept = np.array(memory)[:, None]
    series = np.sqrt(1 - kept**2) * noise
    series[0] = noise[0]
    for day in range(1, len(series)):
        series[day] += kept * series[day - 1]
    return series


def simulate_weather(
    climates: Sequence[Climate],
    starts: Day,
    days: int,
    rng: np.random.Generator,
) -> dict[str, Array]:
    """Daily weather by column name of the weather sheet, each (days, sites).

    Row 0 is each site's own start. Units as in the names: mm, C, %, MJ/m2, ug/m3.
    """
    shape = (days, len(climates))

    def of(name: str) -> Array:
        return np.array([getattr(climate, name) for climate in climates])

    of_year = (starts - starts.astype("datetime64[Y]")).astype(int)
    summer = -np.cos(2 * np.pi * (of_year + np.arange(days)[:, None] - 15) / 365.25)
    fronts, amount = rng.standard_normal((2, *shape)), rng.exponential(of("rain"), shape)
    airs = rng.standard_normal((2, *shape))
    covered, open_sky = rng.uniform(0.25, 0.8, shape), rng.uniform(0.85, 1.1, shape)
    chance, outbreak = rng.random(shape), rng.lognormal(1.6, 0.4, shape)
    noise = np.stack([*fronts, *airs, rng.standard_normal(shape)], axis=1)
    quick, slow, warmth, damp, haze = _persistent(noise, (0.3, 0.95, 0.7, 0.6, 0.8)).swapaxes(0, 1)

    front = np.sqrt(0.6) * quick + np.sqrt(0.4) * slow
    wet = front > of("rain_rarity") + of("rain_rarity_swing") * summer
    rain = np.where(wet, amount, 0.0)
    warm = of("temperature") + of("temperature_swing") * summer
    temperature = warm + 3.0 * warmth - 2.0 * wet
    humidity = of("humidity") + 12 * wet + 7 * damp
    clear = of("solar") + of("solar_swing") * summer
    solar = clear * np.where(wet, covered, open_sky)
    # Clouds and vapour take more infrared than ultraviolet, so wet days carry a larger share.
    share = of("uv_share") + 0.004 * summer + 0.005 * wet

    dust = np.where((chance < of("dust_rate")) & ~wet, outbreak, 1.0)
    dust[1:] = np.maximum(dust[1:], 1 + 0.4 * (dust[:-1] - 1))
    pm10 = of("pm10") * np.exp(0.35 * haze) * dust * np.where(wet, 0.6, 1.0)
    return {
        "rain_mm": rain.round(1),
        "temperature_C": temperature.round(1),
        "relative_humidity_pct": np.clip(humidity, 8, 100).round(),
        "solar_MJ_m2": solar.round(2),
        "uv_MJ_m2": (solar * share).round(3),
        "pm10_ug_m3": pm10.round(),
    }
