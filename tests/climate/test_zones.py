"""Which climate's priors a site takes: by its name first, then by a year of its weather."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aging.climate.zones import zone


def year(temperature_C, relative_humidity_pct, days=365):
    return pd.DataFrame({
        "temperature_C": np.full(days, float(temperature_C)),
        "relative_humidity_pct": np.full(days, float(relative_humidity_pct)),
    })  # fmt: skip


@pytest.mark.parametrize(
    ("named", "found"),
    [
        ("hot-humid", "hot-humid"), ("Tropical coast", "hot-humid"), ("hot-dry", "hot-dry"),
        ("desert", "hot-dry"), ("temperate-urban", "temperate"), ("temperate, humid", "temperate"),
    ],
)  # fmt: skip
def test_a_named_climate_counts_before_the_weather(named, found):
    assert zone(named, year(5, 95)) == found


@pytest.mark.parametrize(
    ("weather", "found"),
    [
        (year(25, 80), "hot-humid"), (year(25, 30), "hot-dry"), (year(9, 80), "temperate"),
        (year(25, 57), "*"), (year(25, 80, days=200), "*"), (year(np.nan, 80), "*"),
    ],
)  # fmt: skip
def test_else_a_year_of_weather_tells_and_less_tells_nothing(weather, found):
    assert zone(np.nan, weather) == found
