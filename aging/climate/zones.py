"""Which of the usual three climates a site has: by its name, else by a year of its weather.

Hot-humid, hot-dry and temperate are the climates in which roof coatings are usually exposed
(Sleiman et al. 2011). The words and the limits are ours: common practice, no source.
"""

from __future__ import annotations

import pandas as pd

ANY = "*"
WORDS = {
    "temperate": ("temperate", "moderate", "continental", "oceanic", "maritime"),
    "hot-humid": ("humid", "tropic", "wet", "damp"),
    "hot-dry": ("dry", "arid", "desert"),
}
ENOUGH_DAYS, HOT_C, HUMID_PCT, DRY_PCT = 300, 17.0, 65.0, 50.0


def zone(named: object, weather: pd.DataFrame) -> str:
    """Climate of a site from what it is called and its daily weather; "*" where neither tells."""
    name = str(named).casefold()
    for climate, words in WORDS.items():
        if any(word in name for word in words):
            return climate
    days = weather[["temperature_C", "relative_humidity_pct"]].dropna()
    if len(days) < ENOUGH_DAYS:
        return ANY
    warm, damp = days.mean()
    if warm < HOT_C:
        return "temperate"
    return "hot-humid" if damp >= HUMID_PCT else "hot-dry" if damp < DRY_PCT else ANY
