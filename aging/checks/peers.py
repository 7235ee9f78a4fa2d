"""Rules of panels among their replicates and on their rack."""

from __future__ import annotations

import numpy as np
import pandas as pd

from aging.checks.hits import NONE, hits, several
from aging.checks.limits import Limits
from aging.checks.table import NEW_MONTHS, RACK, REPLICATES, Seen, looked_up, usual
from aging.cube import moments

MAD_TO_SD = 1.4826
LEAST_SD, STANDS_OUT = 0.004, 3.0  # of a panel's place from visit to visit: assumed


def apart(seen: Seen, limits: Limits) -> pd.DataFrame:
    """A panel that left its usual place among its replicates, or on the rack where they are few."""
    series = seen.series
    few = series["peers"] < REPLICATES
    size = series["apart"].abs()
    grade = limits.graded("apart", size, series["site"])
    grade = grade.mask(few, limits.graded("apart", size, series["site"], "_few"))
    most = limits.at("apart", "warn", series["site"])
    most = most.mask(few, limits.at("apart", "warn_few", series["site"]))
    rows = series.assign(most=most, grade=grade, least=series["value"] - series["apart"])
    rows = rows[grade.notna()]
    return hits(
        "apart", rows, several(rows, "{value:.3f}, where its usual place is {least:.3f}"),
        several(rows, "within {most:.3f} of it"), severity=rows["grade"],
    )  # fmt: skip


def replicates(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Replicates with too large a standard deviation; the one farthest from their median."""
    series = seen.series[seen.series["peers"] >= REPLICATES]
    by = series.groupby(["formulation", *RACK])
    sd = by["trusted"].transform("std")
    new = series["months"] <= NEW_MONTHS
    grade = limits.graded("replicates", sd, series["site"], "_aged")
    grade = grade.mask(new, limits.graded("replicates", sd, series["site"], "_new"))
    off = series["place"].abs()
    farthest = off == off.groupby([series[name] for name in ("formulation", *RACK)]).transform(
        "max"
    )
    most = limits.at("replicates", "warn_aged", series["site"])
    most = most.mask(new, limits.at("replicates", "warn_new", series["site"]))
    rows = series.assign(sd=sd, most=most, grade=grade)[grade.notna() & farthest]
    return hits(
        "replicates", rows,
        several(rows, "{value:.3f}, {place:+.3f} from their median, standard deviation {sd:.3f}"),
        several(rows, "a standard deviation of up to {most:.3f}"), severity=rows["grade"],
    )  # fmt: skip


def group_apart(seen: Seen, limits: Limits) -> pd.DataFrame:
    """A formulation whose replicates moved together, away from the rest of the rack."""
    key = ["formulation", *RACK]
    series = seen.series[seen.series["peers"] >= 2]  # noqa: PLR2004 - one panel is `apart`
    groups = series.groupby(key, as_index=False).agg(
        middle=("trusted", "median"), site=("site", "first")
    )
    groups["others"] = groups.groupby(RACK)["middle"].transform("median")
    place = groups["middle"] - groups["others"]
    course = groups["formulation"] + "/" + groups["campaign"].astype(str)
    order = groups.sort_values(["formulation", "campaign", "day"]).index
    groups["moved"] = place - usual(place[order], course[order]).reindex(groups.index)
    groups["grade"] = limits.graded("group-apart", groups["moved"].abs(), groups["site"])
    groups["most"] = limits.at("group-apart", "warn", groups["site"])
    odd = groups.dropna(subset=["grade"])
    rows = series.merge(odd[[*key, "moved", "grade", "most"]], on=key)
    told = "{formulation} moved by {moved:+.3f} against the rack"
    return hits(
        "group-apart", rows, several(rows, told), several(rows, "within {most:.3f}"),
        severity=rows["grade"], together=rows.groupby(key).ngroup(),
    )  # fmt: skip


def swapped(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Two panels of a rack and day, both out of place, that fit once their values are exchanged."""
    series = seen.series
    sd = MAD_TO_SD * series.groupby("campaign")["apart"].transform(lambda one: one.abs().median())
    least = np.maximum(limits.at("swapped", "least", series["site"]),
                       STANDS_OUT * sd.clip(lower=LEAST_SD))  # fmt: skip
    odd = series[series["apart"].abs() > least]
    if len(odd) < 2:  # noqa: PLR2004 - it takes two
        return NONE
    odd = odd.assign(fits=odd["value"] - odd["apart"])
    names = [*RACK, "panel", "formulation", "reading_id", "value", "fits", "apart"]
    pairs = odd.merge(odd[names], on=RACK, suffixes=("", "_other"))
    pairs = pairs[pairs["panel"] < pairs["panel_other"]]
    after = (pairs["value"] - pairs["fits_other"]) ** 2 + (
        pairs["value_other"] - pairs["fits"]
    ) ** 2
    before = pairs["apart"] ** 2 + pairs["apart_other"] ** 2
    pairs = pairs.assign(left=after / before)
    pairs = pairs[pairs["left"] < limits.at("swapped", "left", pairs["site"])]
    pairs = pairs.sort_values("left").drop_duplicates("reading_id").drop_duplicates(
        "reading_id_other")  # fmt: skip
    pairs["pair"] = pairs["reading_id"]
    other = pairs.rename(columns={name: f"{name}_other" for name in names[2:]} | {
        f"{name}_other": name for name in names[2:]})  # fmt: skip
    both = pd.concat([pairs, other], ignore_index=True)
    told = "{value:.3f}, where {fits:.3f} is usual; {panel_other} reads {value_other:.3f}"
    return hits("swapped", both, several(both, told), "its own value", together=both["pair"])


def copied(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Values of a visit that repeat the visit before on too many panels."""
    series = seen.series
    same = (series["value"] - series["prior"]).abs() < 0.0005  # noqa: PLR2004 - equal to 0.001
    by = [series[name] for name in RACK]
    count = same.groupby(by).transform("sum")
    share = count / series["prior"].notna().groupby(by).transform("sum")
    odd = same & (count >= limits.at("copied", "panels", series["site"]))
    odd &= share >= limits.at("copied", "share", series["site"])
    rows = series.assign(count=count)[odd]
    return hits(
        "copied", rows, several(rows, "{count} panels read the same as at the visit before"),
        "chance repeats a few", together=rows.groupby(RACK).ngroup(),
    )  # fmt: skip


def ended_early(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Panels closed before the last visit of their replicates; graver where one was the worse."""
    series = seen.series
    last = series.groupby("panel").tail(1)
    until = series.groupby(["campaign", "formulation"])["day"].transform("max").loc[last.index]
    closed = looked_up(last["panel"], seen.exposure.panels.set_index("panel")["closed_on"])
    rows = last.assign(closed=closed, until=until)
    rows = rows[moments(closed).lt(until) & rows["day"].lt(until)]
    worse = rows["place"] < -limits.at("ended-early", "below", rows["site"])
    told = "closed on {closed} at {value:.3f}, {place:+.3f} from its replicates"
    severity = pd.Series("info", rows.index, dtype="str").mask(worse, "warn")
    return hits("ended-early", rows, several(rows, told), "all replicates stay as long",
                severity=severity)  # fmt: skip


def thin_film(seen: Seen, limits: Limits) -> pd.DataFrame:
    """Panels thinner than their formulation's median, which stands for a specification."""
    panels = seen.exposure.panels
    panels = panels[panels["kind"] != "roof_patch"]
    spec = panels.groupby("formulation")["dry_film_um"].transform("median")
    below = 1 - panels["dry_film_um"] / spec
    grade = limits.graded("thin-film", below, panels["site"])
    rows = panels.assign(
        below=100 * below, spec=spec, grade=grade,
        most=100 * limits.at("thin-film", "warn", panels["site"]), read_on=panels["exposed_on"],
        property="dry_film_um",
    )[grade.notna()]  # fmt: skip
    told = "{dry_film_um:.0f} um, {below:.1f} % below the {spec:.0f} um of its formulation"
    return hits("thin-film", rows, several(rows, told), several(rows, "at most {most:g} % below"),
                severity=rows["grade"])  # fmt: skip


RULES = (apart, replicates, group_apart, swapped, copied, ended_early, thin_film)
