"""A panel's whole story: what happened to it, what was read on it, and what of that counts.

A reading counts where `aging.cube` lets it stand in a series; where it does not, the story says
why. Who recorded and who decided is known to a store only.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd

from aging.checks import Checked
from aging.conditions import comparable
from aging.cube import seen
from aging.errors import require
from aging.records import Exposure
from aging.source import is_store
from aging.vocabulary import PROPERTIES, SERIES_ENDING_EVENTS, SURFACE_STATES, property_named

ENTRY = ("on", "kind", "what", "by", "why")
READ = ("reading_id", "read_on", "property", "value", "surface_state", "instrument", "operator",
        "standing", "why")  # fmt: skip
COUNTS, LEFT_OUT, REPLACED = "counts", "left out", "corrected"
OWN_SERIES = {state: f"{state} series" for state in SURFACE_STATES if state != "as_exposed"}
PAST = {"wash": "washed", "move": "moved", "recoat": "recoated", "replace": "replaced",
        "loss": "lost", "retrieve": "retrieved"}  # fmt: skip
OF_PANEL = {"paint_batch": "batch {}", "rack": "rack {}", "position": "{}",
            "tilt_deg": "tilt {:g} deg", "azimuth_deg": "azimuth {:g} deg", "backing": "{}",
            "substrate": "on {}", "dry_film_um": "film {:g} µm"}  # fmt: skip


@dataclass(frozen=True)
class Kept:
    """What a store keeps beyond the facts that stand; empty for sheets.

    readings: those ever stored that were read on the day of the first corrected one or later.
    settlements: every row ever stored, with recorded_by and recorded_at. photos: folder.
    """

    readings: pd.DataFrame = field(default_factory=pd.DataFrame)
    settlements: pd.DataFrame = field(default_factory=pd.DataFrame)
    photos: Path | None = None


@dataclass(frozen=True)
class Story:
    """A panel: its row of the sheet, dated entries (ENTRY), and every reading (READ), by time.

    on: ISO day or moment; of a correction or decision, when it was recorded. by, why: "" where not
    known. standing: COUNTS, LEFT_OUT, REPLACED or one of OWN_SERIES; `why` says why it does not
    count.
    """

    panel: str
    facts: pd.Series
    entries: pd.DataFrame
    readings: pd.DataFrame


def kept(source: str | Path, exposure: Exposure) -> Kept:
    """Read what a source keeps of corrections and decisions beside the facts that stand in it."""
    if not is_store(source):
        return Kept()
    from aging.fieldwork.photos import folder_of
    from aging.ledger import open_ledger

    corrected = exposure.readings.dropna(subset="supersedes")
    with open_ledger(source) as book:
        return Kept(
            book.history(corrected["read_on"].min()) if len(corrected) else pd.DataFrame(),
            book.recorded("settlements"),
            folder_of(book) if len(exposure.photos) else None,
        )


def story(
    exposure: Exposure, panel: str, known: Kept | None = None, checked: Checked | None = None
) -> Story:
    """Gather a panel's story; CallError for a panel that is not known.

    known: as from `kept`, adds corrections and decisions. checked: adds the open doubts.
    """
    known = known or Kept()
    rows = exposure.panels[exposure.panels["panel"] == panel]
    require(len(rows) > 0, "panel", panel, "the id of a panel in the sheet panels")
    facts = rows.iloc[0]
    own = exposure.readings[exposure.readings["panel"] == panel]
    ever = ever_read(exposure, known)
    ever = ever[ever["panel"] == panel]
    readings = _readings(exposure, facts, own, ever)
    parts = [
        _mounted(facts), _events(exposure, facts), _read(own), _corrections(ever),
        _decisions(exposure, known.settlements, set(ever["reading_id"])),
        _photos(exposure, panel), _doubts(checked, panel), _closed(facts),
    ]  # fmt: skip
    entries = pd.concat([_entries(part) for part in parts], ignore_index=True)
    return Story(panel, facts, entries.sort_values("on", kind="stable", ignore_index=True),
                 readings)  # fmt: skip


def ever_read(exposure: Exposure, known: Kept) -> pd.DataFrame:
    """Readings that stand, and those known to be superseded."""
    if known.readings.empty:
        return exposure.readings
    old = known.readings["reading_id"].isin(known.readings["supersedes"].dropna())
    return pd.concat([exposure.readings, known.readings[old]], ignore_index=True)


def standings(exposure: Exposure, site: str) -> pd.Series:
    """Why each reading at a site does not count, by reading_id: "" where it does."""
    panels = exposure.panels[exposure.panels["site"] == site]
    here = replace(
        exposure, panels=panels, spectra=exposure.spectra.iloc[:0],
        readings=exposure.readings[exposure.readings["panel"].isin(panels["panel"])],
    )  # fmt: skip
    rows = here.readings.set_index("reading_id")
    counts = rows.index.isin(seen(here)[0]["reading_id"])
    alike = rows.index.isin(comparable(here)[0]["reading_id"])
    excluded = set(_last(here.settlements).query("decision == 'excluded'")["reading_id"].dropna())
    why = pd.Series("its unwashed series had ended", index=rows.index)
    why[~alike] = "read under other conditions than the series at this site"
    why[rows["evidence"].notna() & (rows["evidence"] != "outdoor")] = "laboratory, not outdoors"
    why[rows.index.isin(excluded)] = "excluded by decision"
    why[counts] = ""
    return why


def _last(settlements: pd.DataFrame) -> pd.DataFrame:
    return settlements.drop_duplicates("finding", keep="last")


def _readings(
    exposure: Exposure, facts: pd.Series, own: pd.DataFrame, ever: pd.DataFrame
) -> pd.DataFrame:
    why = standings(exposure, facts["site"]).reindex(own["reading_id"]).set_axis(own.index)
    ended = why == "its unwashed series had ended"
    if ended.any():
        why = why.mask(ended, f"after {_end(exposure, facts)}, which ended its unwashed series")
    out = _last(exposure.settlements).query("decision == 'excluded'")
    reasons = dict(zip(out["reading_id"], out["reason"], strict=True))
    said = "excluded: " + own["reading_id"].map(reasons).astype("str")
    why = why.mask(why == "excluded by decision", said)
    standing = pd.Series(COUNTS, index=own.index).mask(why != "", LEFT_OUT)
    washed = (why == "") & (own["surface_state"] != "as_exposed")
    standing = standing.mask(washed, own["surface_state"].map(OWN_SERIES))
    why = why.mask(washed, own["surface_state"] + ": not in the unwashed series")
    old = ever[ever["reading_id"].isin(ever["supersedes"].dropna())]
    heirs = dict(zip(ever["supersedes"], ever["value"], strict=True))
    to = [f"corrected to {heirs[name]:.4g}" for name in old["reading_id"]]
    rows = pd.concat([own.assign(standing=standing, why=why),
                      old.assign(standing=REPLACED, why=to)])  # fmt: skip
    return rows.sort_values(["read_on", "property"], kind="stable")[list(READ)].reset_index(
        drop=True
    )


def _end(exposure: Exposure, facts: pd.Series) -> str:
    events = exposure.events[exposure.events["kind"].isin(SERIES_ENDING_EVENTS)]
    mine = events[(events["panel"] == facts["panel"])
                  | (events["panel"].isna() & (events["site"] == facts["site"]))]  # fmt: skip
    told = [(on[:10], kind) for on, kind in zip(mine["on"], mine["kind"], strict=True)
            if on[:10] >= facts["exposed_on"]]  # fmt: skip
    if pd.notna(facts["closed_on"]):
        told.append((facts["closed_on"], "closing"))
    on, kind = min(told)
    return f"{kind} on {on}"


def _entries(rows: pd.DataFrame) -> pd.DataFrame:
    return rows.reindex(columns=list(ENTRY)).astype("str").fillna("")


def _mounted(facts: pd.Series) -> pd.DataFrame:
    told = [text.format(facts[name]) for name, text in OF_PANEL.items() if pd.notna(facts[name])]
    mounted = "made" if facts["kind"] == "file_specimen" else "mounted"
    what = ", ".join([facts["site"], *told])
    return pd.DataFrame({"on": [facts["exposed_on"]], "kind": mounted, "what": what})


def _closed(facts: pd.Series) -> pd.DataFrame:
    days = pd.Series([facts["closed_on"]]).dropna()
    return pd.DataFrame({"on": days, "kind": "closed", "what": "no longer read"})


def _events(exposure: Exposure, facts: pd.Series) -> pd.DataFrame:
    rows = exposure.events
    since = rows["on"] >= facts["exposed_on"]
    until = rows["on"].str[:10] <= (facts["closed_on"] if pd.notna(facts["closed_on"]) else "9999")
    site = rows["panel"].isna() & (rows["site"].isna() | (rows["site"] == facts["site"]))
    rows = rows[(rows["panel"] == facts["panel"]) | (site & since & until)]
    ends = rows["kind"].isin(SERIES_ENDING_EVENTS).map(
        {True: "its unwashed series ends", False: ""})  # fmt: skip
    where = rows["panel"].isna().map({True: "at the site", False: ""})
    what = [", ".join(filter(None, said)) for said in
            zip(where, rows["remark"].fillna(""), ends, strict=True)]  # fmt: skip
    return pd.DataFrame({"on": rows["on"], "kind": rows["kind"].replace(PAST), "what": what})


def _read(own: pd.DataFrame) -> pd.DataFrame:
    place = {name: at for at, name in enumerate(PROPERTIES)}
    rows = own.sort_values("property", key=lambda names: names.map(place), kind="stable")
    by = rows.groupby(["read_on", "surface_state", "operator"], dropna=False, sort=False)
    visits = [
        (on, "read", f"{_values(some)} ({str(state).replace('_', ' ')})", operator)
        for (on, state, operator), some in by
    ]
    return pd.DataFrame(visits, columns=["on", "kind", "what", "by"])


def _values(rows: pd.DataFrame) -> str:
    return ", ".join(map(told, rows["property"], rows["value"]))


def told(name: str, value: float) -> str:
    """A value with its property's symbol, to the places a person reads: SR 0.812."""
    prop = property_named(name)
    return f"{prop.symbol} {value:.{prop.decimals}f}"


def _corrections(ever: pd.DataFrame) -> pd.DataFrame:
    new = ever.dropna(subset="supersedes")
    old = ever.set_index("reading_id")["value"].reindex(new["supersedes"]).to_numpy()
    what = [f"{told(name, before)} read on {on[:10]} is now {told(name, after)}"
            for name, on, before, after in
            zip(new["property"], new["read_on"], old, new["value"], strict=True)]  # fmt: skip
    return pd.DataFrame({"on": new["recorded_at"].fillna(new["read_on"]), "kind": "corrected",
                         "what": what, "by": new["recorded_by"], "why": new["reason"]})  # fmt: skip


def _decisions(exposure: Exposure, log: pd.DataFrame, mine: set[str]) -> pd.DataFrame:
    """Decisions on the panel's readings; sheets do not date them, so they stand at the reading."""
    rows = log if len(log) else exposure.settlements.assign(recorded_at=None, recorded_by=None)
    rows = rows[rows["reading_id"].isin(mine) & (rows["decision"] != "corrected")]
    readings = exposure.readings.set_index("reading_id")
    when = readings["read_on"].reindex(rows["reading_id"]).set_axis(rows.index)
    what = rows["rule"].fillna("") + " of " + when.str[:10].fillna("a corrected reading")
    return pd.DataFrame({"on": rows["recorded_at"].fillna(when).fillna(""), "what": what,
                         "kind": rows["decision"], "by": rows["recorded_by"],
                         "why": rows["reason"]})  # fmt: skip


def _photos(exposure: Exposure, panel: str) -> pd.DataFrame:
    rows = exposure.photos[exposure.photos["panel"] == panel]
    return pd.DataFrame({"on": rows["taken_on"], "kind": "photo", "by": rows["operator"],
                         "what": rows["remark"].fillna("taken")})  # fmt: skip


def _doubts(checked: Checked | None, panel: str) -> pd.DataFrame:
    if checked is None:
        return pd.DataFrame(columns=list(ENTRY))
    rows = checked.open[checked.open["panel"] == panel]
    rows = rows.drop_duplicates(["read_on", "what", "seen"])
    what = rows["what"] + ": " + rows["seen"] + " (allowed: " + rows["allowed"] + ")"
    return pd.DataFrame({"on": rows["read_on"], "kind": "doubted", "what": what})
