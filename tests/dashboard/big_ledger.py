"""Stores as large as a laboratory's after years: trials of many coats, one after the other.

Each trial hangs new formulations at every site and is read for three years; those that began three
years and more before the newest have come down.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pandas as pd

from aging.ledger import open_ledger
from aging.simulation import STUDY, coats, simulate
from aging.simulation.merge import merge
from aging.simulation.scenario import Design

LOOKS = ("solar_reflectance", "lightness", "a_star", "b_star", "gloss_60")
VISITS = (0, 1, 2, 3, 6, 9, 12, 15, 18, 21, 24, 27, 30, 33, 36)
NEWEST, APART = date(2023, 11, 6), timedelta(days=183)


def design(sites: int, formulations: int, number: int) -> Design:
    """The trial that began so many half years before the newest."""
    places = [replace(STUDY.sites[n % 3], site=f"SITE{n + 1}") for n in range(sites)]
    return replace(
        STUDY, sites=tuple(places), formulations=coats(formulations, f"T{number}"), visits=VISITS,
        exposed_on=NEWEST - number * APART, closed=number * APART > timedelta(days=1100),
        properties=LOOKS, sparse=1, rack=f"T{number}",
    )  # fmt: skip


def fill(path: Path, sites: int, formulations: int, trials: int) -> int:
    """Make the store and say how many readings it holds."""
    made = [
        simulate(design(sites, formulations, number), (7, number)).exposure
        for number in reversed(range(trials))
    ]
    seen = merge([replace(one, weather=one.weather[:0]) for one in made])
    weather = pd.concat([one.weather for one in made]).drop_duplicates(["site", "date"])
    seen = replace(seen, weather=weather)
    with open_ledger(path, create=True) as book:
        book.append(seen, by="bench", source="simulation")
    return len(seen.readings)
