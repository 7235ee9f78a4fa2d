"""What the pages of doubts, of a panel's story and of instruments say."""

from __future__ import annotations

import pandas as pd

from aging.checks import RULES
from aging.vocabulary import PROPERTIES, Property
from dashboard.wording import measured, plural, quantity

FEW = 3
DOUBTS, STORY, INSTRUMENTS = "Doubts", "A panel's story", "Instruments"
LOOKING = "Holding every reading to the rules ..."
ASK_PROJECTION = "Ask the projection about the last visits too (takes a while)"
SEVERITIES = {
    "block": "Cannot stand as it is", "confirm": "To be confirmed or corrected",
    "warn": "To be looked at again",
}  # fmt: skip
NO_DOUBT = "Nothing asks for a second look."
VISIT, NO_VISIT = "Visit", "no visit"
MORE = "{count} more here are shown once these are settled."
SOME_PANELS = "The first {shown} of {count} panels are drawn."
NEEDS_STORE = (
    "This dashboard shows files, which are not changed. To settle a doubt, put them into a store "
    "and open that:"
)
STORE_COMMANDS = "aging load FOLDER --store STORE\naging dashboard STORE"
DECISION, REASON, BY = "What is it", "Why", "Who decides"
DECISIONS = {
    "confirmed": "The reading stands", "corrected": "Another value", "excluded": "Leave it out",
}  # fmt: skip
NEW_VALUE, SETTLE = "New value, if another", "Settle"
ONE_BY_ONE = "Correct its readings one by one, each on its panel's story."
DONE = "Stored. What was there before is kept."
SETTLED_HEADING, NONE_SETTLED = "Settled", "None has been settled yet."
SETTLED_COLUMNS = {
    "recorded_at": "When", "recorded_by": "Who", "panel": "Panel", "read_on": "Read on",
    "what": "Doubt", "decision": "Decision", "reason": "Why", "finding": "Finding",
}  # fmt: skip
REOPEN, REOPENED = "Open again", "Which"
REPORT_HEADING = "Report of a visit"
REPORT_HTML, REPORT_PDF = "Report as a page", "Report as PDF"
SITE, DAY, PANEL, PROPERTY = "Site", "Day", "Panel", "Property"

MOUNTED, COUNTED, LEFT_OUT, ASKED = "Mounted", "Readings that count", "Left out", "Open doubts"
STORY_HEADING, READINGS_HEADING = "What happened", "Every reading, and whether it counts"
PHOTOS_HEADING, NO_FILE = "Photos", "The file of this photo is missing."
NOT_READ = "Nothing was read on this panel."
ENTRY_COLUMNS = {"on": "When", "kind": "What", "what": "More", "by": "Who", "why": "Why"}
READ_COLUMNS = {
    "read_on": "Read on", "label": "Property", "value": "Value", "surface_state": "Surface",
    "standing": "Standing", "why": "Why", "instrument": "Instrument", "operator": "Read by",
}  # fmt: skip
HISTORY_COLUMNS = {"panel": "Panel", "read_on": "Read on", "value": "Value", "standing": "Standing"}
CONTROL_COLUMNS = {
    "at": "Read on", "series": "Tile or specimen", "value": "Read", "reference": "Level",
    "deviation": "Deviation", "verdict": "Verdict",
}  # fmt: skip
CORRECT_HEADING, READING, CORRECT = "Correct a reading", "Which reading", "Correct"

CALIBRATION_HEADING = "Calibrations"
CALIBRATION_COLUMNS = {
    "instrument": "Instrument", "kind": "Kind", "serial": "Serial", "laboratory": "Laboratory",
    "calibration_due": "Due", "days_left": "Days left", "last_check": "Last tile check",
    "state": "State",
}  # fmt: skip
NO_LOG = "No instrument is in the log: add a sheet instruments with calibration_due and tile."
CONTROL_HEADING, INSTRUMENT = "Tiles and file specimens, which should not move", "Instrument"
NO_CONTROL = "No tile and no file specimen was read: drift cannot be seen."
DRIFT_NONE = (
    "The projection takes nothing off its readings: no file specimen was read twice with it."
)


def doubts(count: dict[str, int]) -> dict[str, str]:
    """Big figures of the page."""
    return {SEVERITIES[name]: str(count.get(name, 0)) for name in SEVERITIES}


def visit(key: str, count: int) -> str:
    """A visit in the box to choose from."""
    return f"{key}: {plural(count, 'doubt')}"


def panels(names: pd.Series) -> str:
    """Few panels by name, more by their number."""
    known = names.dropna().unique()
    return ", ".join(known) if len(known) <= FEW else f"{len(known)} panels"


def doubt(part: pd.DataFrame) -> str:
    """A finding: who, what, seen, allowed."""
    one = part.iloc[0]
    of = ", " + PROPERTIES[one["property"]].within if pd.notna(one["property"]) else ""
    seen = f"Seen: {one['seen']}. Allowed: {one['allowed']}."
    return f"{panels(part['panel'])}{of}: {one['what']}\n{seen}"


def action(part: pd.DataFrame) -> str:
    """What to do about a finding."""
    return f"What to do: {part.iloc[0]['action']}"


def history(part: pd.DataFrame, prop: Property) -> str:
    """The chart's sentence."""
    days = sorted(set(part["read_on"].dropna().str[:10]))
    when = f" of {', '.join(days)}" if days else ""
    return f"{prop.label}: the doubted {'reading' if len(part) == 1 else 'readings'}{when} marked."


def settled(rows: pd.DataFrame) -> pd.DataFrame:
    """Settlements with the rule's words."""
    return rows.assign(what=rows["rule"].map(RULES["what"]).fillna(rows["rule"]))


def story(name: str, prop: Property, rows: pd.DataFrame) -> str:
    """The sentence over a panel's chart."""
    counts = (rows["standing"] == "counts").sum()
    of = f"{plural(len(rows), 'reading')} of {prop.within}"
    return (
        f"{name}: {of}, {counts} of them count in its unwashed series. "
        "Ticks at the foot are events of the site."
    )


def reading(row: pd.Series) -> str:
    """A reading in the box to choose from."""
    prop = PROPERTIES[row["property"]]
    state = row["surface_state"].replace("_", " ")
    return f"{row['read_on']}, {prop.symbol} {measured(row['value'], prop)}, {state}"


def calibration(rows: pd.DataFrame) -> str:
    """How many are overdue."""
    late, soon = ((rows["state"] == state).sum() for state in ("overdue", "due soon"))
    return f"{plural(len(rows), 'instrument')}: {late} overdue, {soon} due within a month."


def control(rows: pd.DataFrame, instrument: str, prop: Property) -> str:
    """What the control chart shows."""
    if rows["verdict"].eq("unknown").all():
        return f"{instrument}: too few readings of tiles and file specimens to set limits."
    count = rows["verdict"].value_counts()
    sd = f"{rows['sigma'].iloc[0]:.{prop.decimals + 1}f}"
    return (
        f"{instrument}: of {plural(len(rows), 'reading')} {count.get('action', 0)} lie beyond "
        f"3 standard deviations and {count.get('warning', 0)} more beyond 2 (one is {sd})."
    )


def drift(rows: pd.DataFrame, prop: Property) -> str:
    """What the projection takes off an instrument's readings: columns day, offset."""
    if rows.empty:
        return DRIFT_NONE
    last, most = rows.iloc[-1], rows.loc[rows["offset"].abs().idxmax()]
    places = f"+.{prop.decimals + 1}f"
    return (
        f"By the file specimens it read {last['offset']:{places}} off on {last['day']:%Y-%m-%d}"
        f" (most: {most['offset']:{places}} on {most['day']:%Y-%m-%d}); the projection takes "
        "that off its readings."
    )


def decisions(single: bool, about: bool) -> list[str]:
    """Decisions that a finding of one reading, or of any, allows."""
    return [name for name in DECISIONS if name == "confirmed" or (about and (
        single or name == "excluded"))]  # fmt: skip


def decided(finding: str, row: pd.Series) -> str:
    """A settled finding in the box to choose from."""
    return f"{row['panel'] or finding}: {row['what']}; {row['decision']}"


def in_words(rows: pd.DataFrame) -> pd.DataFrame:
    """Readings of a story as a person reads them."""
    props = [PROPERTIES[name] for name in rows["property"]]
    values = [
        f"{value:.{prop.decimals}f}" for value, prop in zip(rows["value"], props, strict=True)
    ]
    return rows.assign(
        label=[quantity(prop) for prop in props], value=values,
        surface_state=rows["surface_state"].str.replace("_", " "),
    ).fillna({"instrument": "", "operator": ""})  # fmt: skip
