"""Rules of single readings: their surface, their pace, their spots, their colour."""

from __future__ import annotations

import numpy as np
import pandas as pd

from aging.checks.hits import NONE, hits, several
from aging.checks.limits import Limits
from aging.checks.table import MEASURED, NEW_MONTHS, Seen, looked_up

AGES = (("_early", 3.0), ("_first_year", 12.0), ("_later", np.inf))
DRIED = {"damp": "confirm", "wet": "block"}
MAD_TO_SD = 1.4826


def wet_surface(seen: Seen, _: Limits) -> pd.DataFrame:
    """Read on a damp or wet surface."""
    rows = seen.rows[seen.rows["surface_wetness"].isin(list(DRIED))]
    severity = looked_up(rows["surface_wetness"], pd.Series(DRIED))
    return hits("wet-surface", rows, rows["surface_wetness"], "dry", severity=severity)


def fell_fast(seen: Seen, limits: Limits) -> pd.DataFrame:
    """A loss per month, since the lower of two readings, beyond what dirt does at that age."""
    series = seen.series.assign(pace=0.0)
    series["pace"] = (series["lower"] - series["value"]) / series["gap"].clip(lower=1.0)
    grade, most = pd.Series(index=series.index, dtype="str"), pd.Series(np.nan, series.index)
    for (suffix, until), after in zip(AGES, (-np.inf, *(age for _, age in AGES)), strict=False):
        aged = (series["months"] > after) & (series["months"] <= until)
        graded = limits.graded("fell-fast", series["pace"], series["site"], suffix)
        grade = grade.mask(aged, graded)
        most = most.mask(aged, limits.at("fell-fast", f"warn{suffix}", series["site"]))
    rows = series.assign(most=most, grade=grade)[grade.notna()]
    return hits(
        "fell-fast", rows, several(rows, "{lower:.3f} to {value:.3f}, {pace:.3f} a month"),
        several(rows, "up to {most:.2f} a month at this age"), severity=rows["grade"],
    )  # fmt: skip


def rose(seen: Seen, limits: Limits) -> pd.DataFrame:
    """A rise, above the higher of two readings, that neither a wash nor rain explains."""
    series, site = seen.series, seen.series["site"]
    rise = (series["value"] - series["higher"]).mask(series["washed"])
    dry = series["rain_mm"].fillna(0) < limits.at("rose", "rain_mm", site)
    most = limits.at("rose", "warn_rain", site).where(~dry, limits.at("rose", "warn", site))
    grade = limits.graded("rose", rise, site).mask(rise <= most)
    rows = series.assign(most=most, rise=rise, grade=grade)[grade.notna()]
    told = "{higher:.3f} to {value:.3f}, {rain_mm:.0f} mm of rain between"
    return hits(
        "rose", rows, several(rows, told), several(rows, "a rise of up to {most:.2f}"),
        severity=rows["grade"],
    )  # fmt: skip


def above_new(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Above the panel's own initial value."""
    series, site = seen.series, seen.series["site"]
    early = limits.at("above-new", "more_early", site)
    more = limits.at("above-new", "more", site).mask(series["months"] <= NEW_MONTHS, early)
    rows = series.assign(more=more)[series["value"] > series["initial"] + more]
    return hits(
        "above-new", rows, several(rows, "{value:.3f}, {initial:.3f} when new"),
        several(rows, "up to {more:.2f} above its initial value"),
    )  # fmt: skip


def like_washed(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Back near the initial value without a wash, where rain did not do it to the whole rack."""
    series, site = seen.series, seen.series["site"]

    def limit(name: str) -> pd.Series:
        return limits.at("like-washed", name, site)

    dry = series["rain_mm"].fillna(0) < limit("rain_mm")
    odd = (series["value"] - series["prior"] > limit("rise")) & ~series["washed"]
    odd &= series["value"] >= limit("share") * series["initial"]
    odd &= dry | (series["apart"] > limit("apart"))
    rows = series[odd]
    return hits(
        "like-washed", rows, several(rows, "{prior:.3f} to {value:.3f}, {initial:.3f} when new"),
        "no such rise without a wash",
    )  # fmt: skip


def recoated(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Back near the initial value with a thicker film than before."""
    film = seen.rows[seen.rows["property"] == "dry_film_um"]
    film = film[["panel", "at", "trusted"]].dropna().sort_values("at")
    if film.empty:
        return NONE
    series = seen.series.sort_values("at")
    now = pd.merge_asof(series, film.rename(columns={"trusted": "film"}), on="at", by="panel",
                        tolerance=pd.Timedelta(days=31), direction="nearest")  # fmt: skip
    first = film.groupby("panel")["trusted"].first()
    now["thin"] = now["dry_film_um"].fillna(looked_up(now["panel"], first))
    site = now["site"]

    def limit(name: str) -> pd.Series:
        return limits.at("recoated", name, site)

    again = (now["value"] - now["prior"] > limit("rise")) & (
        (now["value"] - now["initial"]).abs() <= limit("near")
    )
    rows = now[again & (now["film"] > now["thin"] * (1 + limit("thicker")))]
    told = "{prior:.3f} to {value:.3f}, film {thin:.0f} to {film:.0f} um"
    return hits("recoated", rows, several(rows, told), "no thicker film without an event")


def washed_twins(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Washed readings above the initial value, and below the unwashed one of the same day."""
    rows = seen.rows[seen.rows["property"] == MEASURED]
    washed = rows[rows["surface_state"] == "washed"]
    if washed.empty:
        return NONE
    initial = seen.series.groupby("panel")["initial"].first()
    washed = washed.assign(initial=looked_up(washed["panel"], initial))
    more = limits.at("washed-above-new", "more", washed["site"])
    high = washed[washed["value"] > washed["initial"] + more]
    twin = washed.merge(seen.series[["panel", "day", "value", "reading_id"]],
                        on=["panel", "day"], suffixes=("", "_dirty"))  # fmt: skip
    low = twin[twin["value"] < twin["value_dirty"] - limits.at(
        "washed-darker", "less", twin["site"])]  # fmt: skip
    pair = low["reading_id"]
    both = pd.concat([low, low.assign(reading_id=low["reading_id_dirty"])], ignore_index=True)
    return pd.concat([
        hits("washed-above-new", high, several(high, "{value:.3f}, {initial:.3f} when new"),
             "hardly above its initial value"),
        hits("washed-darker", both, several(both, "washed {value:.3f}, unwashed {value_dirty:.3f}"),
             "washed at least as light", together=pd.concat([pair, pair], ignore_index=True)),
    ])  # fmt: skip


def spots(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Spots that range too widely, or one far from the rest."""
    rows = seen.rows[(seen.rows["property"] == MEASURED) & seen.rows["spot_values"].notna()]
    if rows.empty:
        return NONE
    each = pd.Series([np.array(text.split(), dtype=float) for text in rows["spot_values"]],
                     index=rows.index, dtype=object)  # fmt: skip
    span = each.map(np.ptp).astype(float)
    aged = limits.at("spots", "range_aged", rows["site"])
    most = aged.where(rows["months"] > NEW_MONTHS, limits.at("spots", "range_new", rows["site"]))
    from_middle = each.map(lambda one: np.abs(one - np.median(one)))
    robust = from_middle.map(np.median).astype(float) * MAD_TO_SD
    far = from_middle.map(np.max).astype(float) > np.maximum(
        limits.at("spots", "robust_sd", rows["site"]) * robust, most / 2
    )
    rows = rows.assign(most=most)[(span > most) | far]
    return hits("spots", rows, rows["spot_values"], several(rows, "a range of up to {most:.2f}"))


def lightness(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Reflectance against Y of CIE 15 from lightness, in the panel's own initial ratio."""
    key = ["panel", "day", "surface_state"]
    light = seen.rows[seen.rows["property"] == "lightness"]
    if light.empty:
        return NONE
    both = seen.rows[seen.rows["property"] == MEASURED].merge(
        light[[*key, "trusted"]], on=key, suffixes=("", "_light")
    )
    both["luminous"] = ((both["trusted_light"] + 16) / 116) ** 3
    ratio = (both["trusted"] / both["luminous"]).where(both["months"] <= NEW_MONTHS)
    both["foretold"] = both["luminous"] * ratio.groupby(both["panel"]).transform("first")
    most = limits.at("lightness", "differ", both["site"])
    rows = both[(both["value"] - both["foretold"]).abs() > most]
    return hits(
        "lightness", rows, several(rows, "{value:.3f}, {foretold:.3f} by its lightness"),
        "within 0.06 of each other" if rows.empty else several(
            rows.assign(most=most), "within {most:.2f} of each other"),
    )  # fmt: skip


RULES = (
    wet_surface, fell_fast, rose, above_new, like_washed, recoated, washed_twins, spots, lightness,
)  # fmt: skip
