"""What the page of a visit says."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

from aging.checks import RULES
from aging.fieldwork.doubts import Doubt, expected
from aging.fieldwork.patches import Pyranometer, zone_of
from aging.fieldwork.round_sheet import Asked, ToRead
from aging.fieldwork.spots import ENOUGH_SEM, Spots
from aging.records import Finding

TITLE = "Log a visit"
NEEDS_STORE = (
    "Readings can be saved into a store only, and this dashboard shows files. "
    "Make a store of them, then open it:"
)
STORE_COMMANDS = "aging load FOLDER --store exposure.sqlite\naging dashboard exposure.sqlite"
LOST = (
    "The store cannot be reached: nothing is saved now. What you typed stays; tap Save again in a "
    "moment. What was saved today is shown as it was known last."
)
CANNOT_OPEN = "The store cannot be used."
SITE, PANEL = "Site", "Panel"
ALSO = "Read besides, at this first visit"
NO_PANELS = "The store holds no panel yet: load a folder with panels, or start a trial."
UNKNOWN_PANEL = "No such panel in the store (a new one shows within 5 minutes): "
NOT_IN_ROUND = "Not in this round, for it is closed, lost or not yet hung: "
NEXT, NONE_LEFT = "Next panel", "Nothing is left to read."

ROUND = "This round"
OPERATOR, STATE, WETNESS = "Who reads", "Surface state", "The surface is"
INSTRUMENT, METHOD, FREQUENCY = "Instrument for ", "Method of ", "How many blisters"
NEW_NAME = "Choose, or type a new one"
LACKING = "Choose first, under This round: "

SPOTS_LIKE = "{unit}such as {first} {second}"
DIVIDE = "Divide by 100"
SAVE, REMARK = "Save", "Remark on this panel, kept with what is saved next"
ANOTHER, CORRECT = "Another reading", "Correct it"
AGAIN = "Read it again as"
REASON, LEAVE_REASON = "Why the earlier value was wrong", "Why it does not count"
KEEP = "Keep it, because"
REASONS = ("read again, same value", "other spots, same value", "the panel looks like it")
NO_VALUE = "Not saved: there is no value yet."
NO_REASON = "Not saved: say why the earlier value was wrong."
UNANSWERED = "Not saved yet: answer below, or read it again."
ASKS = "Not saved yet: it was read today, see above. Say what yours is, then save again."
DIFFERS = "This form had been saved already, as above. To change it, read it again as a correction."
CHANGED = "Not saved: the choices of the round had just changed. Look at them and tap once more."
REFUSED = "Not saved: "

PHOTO, PHOTO_FILE, KEEP_PHOTO = "Photos", "Take or choose a photo", "Keep the photo"
NO_OPERATOR = "Say first who you are, under This round."
CANNOT_READ, WHY_NOT, SAY_SO = "This panel cannot be read", "Why", "Note it"
LEFT, TODAY = "The round so far", "Saved today"
LEAVE_OUT, OPEN_PANEL, WHICH = "Leave it out", "Open its panel to correct it", "Which reading"
NOTHING_SAVED = "Nothing yet."
CAUTIONS = "Before you climb"

ROOF = "Where to read, and the pyranometer"
WIDTH, LENGTH = "Width of the patch, m", "Length of the patch, m"
UP, DOWN = "Incoming, W/m², sensor up", "Reflected, W/m², sensor down"
PYRANOMETER, PYRANOMETER_AT = "Pyranometer", "Local time of the pairs"
SPOT_COLUMNS = {"spot": "Spot", "width_m": "Along the width, m", "length_m": "Along the length, m"}
PAIRS_DIFFER = "The pairs differ by more than 0.01: wait for a clear, steady sky and read again."
LEFT_COLUMNS = {
    "panel": "Panel", "rack": "Rack", "position": "Position", "read": "Read", "of": "Of",
    "state": "State",
}  # fmt: skip
TODAY_COLUMNS = {
    "at": "At", "panel": "Panel", "label": "Property", "value": "Value", "spots": "Spots",
    "surface_state": "Surface", "operator": "Who",
}  # fmt: skip
OWN_RULES = {
    "unusual": ("is unusual for such a coating", "read it again"),
    "wet-surface": ("a damp surface reads too low", "better come back when it is dry"),
}


def plain(word: str) -> str:
    """A word of the vocabulary as people say it."""
    return word.replace("_", " ")


def place(panel: ToRead) -> str:
    """Where a panel hangs and for how long."""
    zone = zone_of(panel.position)
    parts = (
        f"rack {panel.rack}" if panel.rack else "", zone or panel.position,
        "file specimen" if panel.months is None else f"{panel.months:.1f} months",
    )  # fmt: skip
    return ", ".join(filter(None, parts))


def option(panel: ToRead) -> str:
    """A panel in the list to choose from; it must not change as the round goes on."""
    where = ", ".join(filter(None, (panel.rack, panel.position)))
    return f"{panel.panel} ({where})" if where else panel.panel


def chosen(operator: str, surface: str, wetness: str, gear: Mapping[str, Mapping[str, Any]]) -> str:
    """What holds for the round, in one line."""
    used = dict.fromkeys(str(one["instrument"]) for one in gear.values())
    return ", ".join([operator, plain(surface), wetness, *used])


def so_far(progress: pd.DataFrame, filed: int) -> str:
    """How far the round is."""
    states = progress["state"].value_counts()
    parts = [f"{states.get(name, 0)} {name}" for name in ("read", "part", "not read")]
    kept = [part for part in parts if not part.startswith("0 ")] or ["none read"]
    of_them = f", {filed} of them file specimens" if filed else ""
    return (
        f"{len(progress)} panels{of_them}: {', '.join(kept)}, {states.get('to read', 0)} to read."
    )


def label(asked: Asked) -> str:
    """Title of the form of a property."""
    unit = f", {asked.unit}" if asked.unit and asked.unit != "fraction" else ""
    return f"{asked.label}{unit}"


def spots_like(asked: Asked) -> str:
    """How spots may be typed: two values in the middle of what is usual, and the fraction named."""
    middle = (float(str(asked.limits["usual_low"])) + float(str(asked.limits["usual_high"]))) / 2
    digits = min(asked.decimals, 2)
    first, second = (f"{value:.{digits}f}" for value in (middle, middle + 10**-digits))
    unit = "fraction, " if asked.unit == "fraction" else ""
    return SPOTS_LIKE.format(unit=unit, first=first, second=second)


def worked(asked: Asked, spots: Spots | None, panel: ToRead) -> str:
    """Mean, SD and range of what was typed, and what was expected; never before it is typed."""
    if spots is None:
        return f"{asked.spots} spots"
    show = f"{{:.{asked.decimals}f}}".format
    told = f"Mean {show(spots.mean)}"
    if spots.sd is not None:
        told += f", SD {spots.sd:.{asked.decimals + 1}f}, range {show(spots.range)}"
    told += f"; {len(spots.each)} of {asked.spots} spots."
    past, band = panel.earlier.get(asked.name), expected(asked, panel)
    if past is not None:
        told += f" Last {show(past.value)} on {past.on}."
    if band is not None:
        high = "any rise" if band[1] == float("inf") else show(band[1])
        told += f" Expect {show(band[0])} to {high}."
    return told


def enough(spots: Spots) -> str:
    """Whether a patch asks for another spot."""
    more, sem = spots.still_to_read, spots.sem
    told = "" if sem is None else f"Standard error of the mean {sem:.4f}. "
    return told + (
        f"Read another spot, about {more} more until it is {ENOUGH_SEM}." if more
        else "The mean is known well enough."
    )  # fmt: skip


def saved(row: pd.Series, asked: Asked) -> str:
    """A reading that stands today."""
    at = row["read_on"][11:16] or row["read_on"]
    sure = "" if pd.isna(row["spot_sd"]) else f", SD {row['spot_sd']:.{asked.decimals + 1}f}"
    return f"Saved: {row['value']:.{asked.decimals}f}{sure} by {row['operator']}, {at}"


def question(doubt: Doubt) -> str:
    """A doubt as a question that asks for an answer."""
    what, action = OWN_RULES.get(doubt.rule) or RULES.loc[doubt.rule, ["what", "action"]]
    return f"This {what}: {doubt.seen}; expected {doubt.allowed}. Action: {action}."


def findings(found: Iterable[Finding]) -> str:
    """Why a reading was refused."""
    return "\n".join(
        f"{REFUSED}{one.column} {one.seen}; allowed: {one.allowed}. {one.action}."
        for one in found if one.severity == "block"
    )  # fmt: skip


def lacking(names: Sequence[str]) -> str:
    """What must be chosen before anything is saved."""
    return LACKING + ", ".join(name.strip().lower() for name in names)


def sun(read: Pyranometer) -> str:
    """What the pyranometer says, and the sun it says it under."""
    sd = f", SD {read.spots.sd:.4f}" if read.spots.sd is not None else ""
    told = (
        f"Mean {read.spots.mean:.3f}{sd}, range {read.spots.range:.3f}; {len(read.up)} pairs; "
        f"sun {read.sun_deg:.1f}° from the normal of the surface."
    )
    return told if read.agrees else f"{told} {PAIRS_DIFFER}"
