"""Rules of the readings sheet: the property's units and range, the panel's dates, the row's key."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aging import vocabulary as words
from aging.intake.cells import Mask
from aging.intake.desk import Desk

MEANT_AS_PERCENT = (1.5, 100)  # a bare number in here was no fraction: common practice, no source
KEY = ("panel", "read_on", "property", "surface_state", "instrument")
OFF_STEP = 1e-9  # of a step: more is between two steps, less is rounding


def check_readings(desk: Desk, panels: Desk) -> None:
    """Check readings against the table of properties and the accepted panels."""
    if desk.blocked:
        return
    _states(desk)
    check_panels(desk, panels)
    _values(desk)
    _methods(desk)
    _corrections(desk)
    _keys(desk)


def _states(desk: Desk) -> None:
    state = desk.columns["surface_state"]
    open_ = state.isna() & ~desk.refused
    if "surface_state" not in desk.raw.cells:
        desk.notes.append(f"{desk.raw.file}: no column of the surface state: all taken as exposed")
    elif open_.any():
        count = int(open_.sum())
        desk.notes.append(f"{desk.raw.file}: empty surface_state taken as as_exposed: {count}")
    desk.columns["surface_state"] = state.fillna("as_exposed")


def check_panels(desk: Desk, panels: Desk) -> None:
    """Each row names an accepted panel and was read while that hung."""
    if panels.blocked:
        action = f"mend {panels.raw.file} first"
        desk.block("unknown-panel", "panel", "", f"a panel of {panels.raw.file}", action)
        return
    accepted = np.flatnonzero(~panels.refused)
    index = pd.Index(panels.columns["panel"].iloc[accepted])
    found = desk.words["panel"]
    at = index.get_indexer(found.text)
    named = found.text.isin(panels.words["panel"].text).to_numpy(bool)
    lost = (at < 0) & (found.text != "").to_numpy(bool)
    where = f"an accepted panel of {panels.raw.file}"
    for rows, action in (
        (lost & named, f"correct the panel's row in {panels.raw.file}"),
        (lost & ~named, f"correct the panel or add it to {panels.raw.file}"),
    ):
        desk.flag("unknown-panel", found.rows(rows), "panel", where, action)
    if not len(accepted):
        return
    panel = found.rows(np.where(at < 0, 0, accepted[at]))
    known = found.rows(at >= 0)
    filed = (panels.columns["kind"] == "file_specimen").to_numpy(bool)
    start, end = panels.days["exposed_on"][panel], panels.days["closed_on"][panel]
    day = desk.days["read_on"]
    desk.flag(
        "before-exposure", known & ~filed[panel] & (day < start), "read_on",
        "the panel's exposed_on or later", "correct the date or the panel",
    )  # fmt: skip
    desk.flag(
        "after-closure", known & (day > end), "read_on", "the panel's closed_on or earlier",
        "check the date, the panel and closed_on", severity="warn",
    )  # fmt: skip


def _values(desk: Desk) -> None:
    """Convert values to their property's own unit, then judge them property by property."""
    names = desk.words["property"]
    props = [words.PROPERTIES[name] for name in words.PROPERTIES if (names.text == name).any()]
    factor = np.ones(desk.size)
    rows = {prop.name: names.rows(names.text == prop.name) for prop in props}
    for prop in props:
        _convert(desk, prop, rows[prop.name], factor)
    for column in ("value", "spot_sd"):
        with np.errstate(over="ignore"):  # what is beyond numbers is refused as out of range
            # 78.1 % is 0.781, not 0.78100...01
            scaled = np.round(desk.columns[column] * factor, 12)
        desk.columns[column] = np.where(factor == 1, desk.columns[column], scaled)
    own = [words.PROPERTIES[name].unit if name in rows else "" for name in names.text]
    desk.columns["unit"] = names.column(pd.Series(own, dtype="str"))
    for prop in props:
        _judge(desk, prop, rows[prop.name], factor)


def _convert(desk: Desk, prop: words.Property, mine: Mask, factor: NDArray[np.float64]) -> None:
    """Fill in the factor from the unit given to the property's own; find units that are not its."""
    if "unit" not in desk.words:
        return
    units = desk.words["unit"]
    known = np.full(len(units.text), np.nan)
    for code in np.unique(units.codes[mine]):
        one = words.unit_factor(prop, units.text[code])
        known[code] = np.nan if one is None else one
    factor[mine] = known[units.codes[mine]]
    desk.flag(
        "bad-unit", mine & np.isnan(factor), "unit", ", ".join(words.UNIT_FACTORS[prop.unit]),
        f"convert {prop.name} to one of these units",
    )  # fmt: skip


def _judge(desk: Desk, prop: words.Property, mine: Mask, factor: NDArray[np.float64]) -> None:
    """Refuse what cannot exist, question what is unusual."""
    value = np.where(mine, desk.columns["value"], np.nan)
    percent = np.zeros(desk.size, bool)
    if prop.unit == "fraction":
        above, up_to = MEANT_AS_PERCENT
        percent = (value > above) & (value <= up_to) & (factor == 1)
    desk.flag(
        "percent-for-fraction", percent, "value", "a fraction from 0 to 1",
        "set unit to % (the value is then divided by 100) or type the fraction",
    )  # fmt: skip
    outside = ((value < prop.low) | (value > prop.high)) & ~percent
    desk.flag(
        "out-of-range", outside, "value", f"{prop.low:g} to {prop.high:g} ({prop.unit})",
        "look the reading up and correct it",
    )  # fmt: skip
    unusual = ((value < prop.usual_low) | (value > prop.usual_high)) & ~outside & ~percent
    desk.flag(
        "unusual", unusual, "value",
        f"usually {prop.usual_low:g} to {prop.usual_high:g} ({prop.unit})",
        "look the reading up; leave it where it is right", severity="warn",
    )  # fmt: skip
    if prop.scale == "ordinal":
        steps = value / prop.step
        between = (np.abs(steps - np.round(steps)) > OFF_STEP) & ~outside
        desk.flag("scale-step", between, "value", f"steps of {prop.step:g}", "type the step rated")


def _methods(desk: Desk) -> None:
    """A rating's method letter is one of its scale's; an observer is one of CIE's two."""
    name, method = desk.columns["property"], desk.columns["method"]
    for prop in name.dropna().unique():
        letters = words.METHODS.get(prop)
        wrong = (name == prop) & method.notna() & ~method.isin(letters or ())
        desk.flag(
            "not-allowed", wrong.to_numpy(bool), "method",
            ", ".join(letters) if letters else f"an empty cell: {prop} has no method letters",
            "look up how it was rated",
        )  # fmt: skip
    observer = desk.columns["observer_deg"]
    odd = ~np.isnan(observer) & ~np.isin(observer, words.OBSERVERS_DEG)
    desk.flag("not-allowed", odd, "observer_deg", "2 or 10", "look up the instrument's setting")


def _corrections(desk: Desk) -> None:
    """A correction says what it corrects and why, and is a reading of its own."""
    corrects = desk.columns["supersedes"].notna().to_numpy()
    for column in ("reason", "reading_id"):
        empty = desk.columns[column].isna().to_numpy()
        desk.flag(
            "missing-value", corrects & empty, column, f"a {column} where supersedes is filled",
            "fill the cell",
        )  # fmt: skip
    itself = (desk.columns["supersedes"] == desk.columns["reading_id"]).to_numpy()
    desk.flag(
        "not-allowed", itself, "supersedes", "the reading_id of another reading",
        "give the correction a reading_id of its own",
    )  # fmt: skip


def _keys(desk: Desk) -> None:
    """Fill the reading_id that is not given from the facts that tell a reading apart."""
    given = desk.columns["reading_id"]
    if not given.isna().any():
        return
    desk.columns["reading_id"] = given.where(given.notna(), natural_key(desk, KEY))


def natural_key(desk: Desk, names: tuple[str, ...]) -> pd.Series:
    """The named columns of each row joined by slashes, what is missing left out."""
    import pyarrow as pa
    from pyarrow import compute

    parts = [pa.array(desk.columns[name], pa.large_string()) for name in names]
    slash = pa.scalar("/", pa.large_string())
    joined = compute.binary_join_element_wise(*parts, slash, null_handling="skip")
    return pd.Series(joined.to_pandas(), dtype="str")
