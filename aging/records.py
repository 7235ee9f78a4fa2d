"""The facts that travel between the rooms, and the table of sheets that names their columns.

A sheet is one CSV file of an exposure folder (or one tab of a workbook). `SHEETS` rules the
readers, the store's tables, the export and the simulation alike.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from types import MappingProxyType
from typing import Literal

import pandas as pd

from aging import vocabulary as words

Kind = Literal["text", "number", "date", "moment", "list"]
Severity = Literal["block", "confirm", "warn"]


@dataclass(frozen=True)
class Column:
    """One column of a sheet. `allowed` limits text; `low..high` limits numbers (inclusive).

    A list is text of numbers parted by spaces.
    """

    name: str
    kind: Kind = "text"
    required: bool = False
    allowed: tuple[str, ...] = ()
    low: float = float("-inf")
    high: float = float("inf")


@dataclass(frozen=True)
class Sheet:
    """A sheet: its columns and the columns that tell two rows apart.

    Of a `fixed` one a stored row is never followed by another version: one that differs is refused.
    """

    name: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    required: bool = False
    fixed: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """Column names in their order."""
        return tuple(column.name for column in self.columns)


def _text(name: str, *, required: bool = False, allowed: tuple[str, ...] = ()) -> Column:
    return Column(name, "text", required, allowed)


def _number(
    name: str, low: float = float("-inf"), high: float = float("inf"), *, required: bool = False
) -> Column:
    return Column(name, "number", required, (), low, high)


def _date(name: str, *, required: bool = False) -> Column:
    return Column(name, "date", required)


def _moment(name: str, *, required: bool = False) -> Column:
    return Column(name, "moment", required)


def _list(name: str, *, required: bool = False) -> Column:
    return Column(name, "list", required)


SHEETS: MappingProxyType[str, Sheet] = MappingProxyType({
    sheet.name: sheet
    for sheet in (
        Sheet("sites", ("site",), (
            _text("site", required=True), _text("name"), _number("latitude_deg", -90, 90),
            _number("longitude_deg", -180, 180), _number("elevation_m", -500, 9000),
            _text("climate"), _text("timezone"),
        )),
        Sheet("formulations", ("formulation",), (
            _text("formulation", required=True), _text("role", allowed=words.ROLES),
            _text("description"),
        )),
        Sheet("panels", ("panel",), (
            _text("panel", required=True), _text("formulation", required=True),
            _text("site", required=True), _date("exposed_on", required=True),
            _number("replicate", 1, 10_000), _text("paint_batch"), _text("rack"),
            _text("position"), _number("tilt_deg", 0, 90), _number("azimuth_deg", 0, 360),
            _text("backing", allowed=words.BACKINGS), _text("substrate"),
            _number("dry_film_um", 1, 10_000), _text("kind", allowed=words.PANEL_KINDS),
            _date("closed_on"),
        ), required=True),
        Sheet("readings", ("reading_id",), (
            _text("panel", required=True), _moment("read_on", required=True),
            _text("property", required=True, allowed=tuple(words.PROPERTIES)),
            _number("value", required=True), _text("unit"),
            _text("surface_state", allowed=words.SURFACE_STATES),
            _text("surface_wetness", allowed=words.WETNESS), _number("spot_sd", 0),
            _number("spots", 1, 10_000), _list("spot_values"), _text("instrument"),
            _text("weighting"), _text("method"), _text("illuminant"),
            _number("observer_deg", 2, 10), _text("geometry", allowed=words.GEOMETRIES),
            _text("blister_frequency", allowed=words.BLISTER_FREQUENCIES),
            _text("evidence", allowed=words.EVIDENCE), _text("spectrum"),
            _text("operator"), _text("reading_id"), _text("remark"),
            _text("supersedes"), _text("reason"), _text("recorded_by"), _moment("recorded_at"),
        ), required=True, fixed=True),
        Sheet("events", ("on", "kind", "site", "panel"), (
            _moment("on", required=True),
            _text("kind", required=True, allowed=words.EVENT_KINDS),
            _text("site"), _text("panel"), _text("remark"),
        )),
        Sheet("weather", ("site", "date"), (
            _text("site", required=True), _date("date", required=True),
            _number("rain_mm", 0, 2000), _number("temperature_C", -90, 60),
            _number("relative_humidity_pct", 0, 105), _number("solar_MJ_m2", 0, 60),
            _number("uv_MJ_m2", 0, 4), _number("pm10_ug_m3", 0, 20_000),
        )),
        Sheet("spectra", ("spectrum",), (
            _text("spectrum"), _text("panel", required=True), _moment("read_on", required=True),
            _text("surface_state", allowed=words.SURFACE_STATES), _text("instrument"),
            _text("operator"), _text("evidence", allowed=words.EVIDENCE),
            _list("wavelengths_nm", required=True),
            _list("reflectances", required=True), _text("remark"),
        )),
        Sheet("instruments", ("instrument",), (
            _text("instrument", required=True), _text("kind"), _text("serial"),
            _date("calibration_due"), _text("tile"), _number("tile_value"),
            _text("weighting"), _text("laboratory"), _text("remark"),
        )),
        Sheet("instrument_checks", ("instrument", "at", "stage"), (
            _text("instrument", required=True), _moment("at", required=True),
            _text("stage", required=True, allowed=words.CHECK_STAGES), _text("tile"),
            _number("certified"), _number("value", required=True), _text("operator"),
            _text("remark"),
        )),
        Sheet("operators", ("operator",), (
            _text("operator", required=True), _text("name"), _text("laboratory"),
        )),
        Sheet("plan", ("site", "months"), (
            _text("site"), _number("months", 0, 1200, required=True),
            _number("window_days", 0, 365),
        )),
        Sheet("photos", ("photo",), (
            _text("photo", required=True), _text("panel", required=True),
            _moment("taken_on", required=True), _text("operator"), _text("remark"),
        )),
        Sheet("settlements", ("finding",), (
            _text("finding", required=True), _text("rule"), _text("reading_id"),
            _text("decision", required=True, allowed=words.DECISIONS),
            _text("reason", required=True),
        )),
        Sheet("matchings", ("layout", "header"), (
            _text("layout", required=True), _text("sheet", required=True),
            _text("header", required=True), _text("meaning"), _text("unit"),
            _text("surface_state", allowed=words.SURFACE_STATES), _text("value"),
        )),
        Sheet("claims", ("claim",), (
            _text("claim", required=True), _text("formulation", required=True),
            _text("property", required=True), _text("criterion"),
            _number("months", 0, 240, required=True), _text("sites", required=True),
            _number("value"), _number("estimate"), _number("confidence", 0, 1, required=True),
            _text("basis", required=True, allowed=words.CLAIM_BASES), _text("rating"),
            _text("wording", required=True), _number("evidence_revision", 1, required=True),
            _text("evidence_digest", required=True), _text("made_by", required=True),
            _moment("made_at", required=True),
        ), fixed=True),
        Sheet("claim_ends", ("claim",), (
            _text("claim", required=True),
            _text("kind", required=True, allowed=words.CLAIM_ENDS), _text("replaced_by"),
            _text("reason", required=True), _text("ended_by", required=True),
            _moment("ended_at", required=True),
        ), fixed=True),
    )
})  # fmt: skip


@dataclass(frozen=True)
class Finding:
    """Something in the input that a person should look at: what, where, seen, allowed, do."""

    code: str
    severity: Severity
    sheet: str
    row: int | None
    column: str | None
    seen: str
    allowed: str
    action: str


@dataclass(frozen=True)
class Exposure:
    """Checked facts of one or more exposures: one frame a sheet, columns as in SHEETS plus `extra`.

    Text columns are str with missing values as NaN; numbers float64; dates ISO 8601 text
    (YYYY-MM-DD, a moment may carry a time). Values stand in the property's own unit. `extra` is
    JSON text of the columns that SHEETS does not name, or missing.
    """

    sites: pd.DataFrame
    formulations: pd.DataFrame
    panels: pd.DataFrame
    readings: pd.DataFrame
    events: pd.DataFrame
    weather: pd.DataFrame
    spectra: pd.DataFrame = field(default_factory=lambda: empty_frame("spectra"))
    instruments: pd.DataFrame = field(default_factory=lambda: empty_frame("instruments"))
    instrument_checks: pd.DataFrame = field(
        default_factory=lambda: empty_frame("instrument_checks")
    )
    operators: pd.DataFrame = field(default_factory=lambda: empty_frame("operators"))
    plan: pd.DataFrame = field(default_factory=lambda: empty_frame("plan"))
    photos: pd.DataFrame = field(default_factory=lambda: empty_frame("photos"))
    settlements: pd.DataFrame = field(default_factory=lambda: empty_frame("settlements"))
    matchings: pd.DataFrame = field(default_factory=lambda: empty_frame("matchings"))
    claims: pd.DataFrame = field(default_factory=lambda: empty_frame("claims"))
    claim_ends: pd.DataFrame = field(default_factory=lambda: empty_frame("claim_ends"))

    def frames(self) -> Iterator[tuple[str, pd.DataFrame]]:
        """Sheet name and frame, in the order of SHEETS."""
        return ((name, getattr(self, name)) for name in SHEETS)


@dataclass(frozen=True)
class Tally:
    """What became of the rows of one sheet: `rows` in the file = `accepted` + `refused`."""

    sheet: str
    rows: int
    accepted: int
    refused: int


@dataclass(frozen=True)
class Intake:
    """A read source: the accepted facts, every finding, the tallies and plain notes.

    refused: the cells of each row that was refused, under file, row and reasons.
    """

    exposure: Exposure
    findings: tuple[Finding, ...]
    tallies: tuple[Tally, ...]
    notes: tuple[str, ...] = field(default=())
    refused: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def blocked(self) -> bool:
        """Whether any row was refused."""
        return any(finding.severity == "block" for finding in self.findings)


def empty_frame(sheet: str) -> pd.DataFrame:
    """A frame of a sheet without rows, with the right types."""
    return _empty(sheet).copy(deep=False)  # what is written to is copied then


_RUN = r"[=+\-@\t\r]"


@cache
def _empty(sheet: str) -> pd.DataFrame:
    kinds = {c.name: "float64" if c.kind == "number" else "str" for c in SHEETS[sheet].columns}
    return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in kinds.items()}).assign(
        extra=pd.Series(dtype="str")
    )


def exposure_with(sheet: str, rows: Sequence[Mapping[str, object]]) -> Exposure:
    """An exposure that holds rows of one sheet and nothing else; what they do not name is empty."""
    frames = {name: empty_frame(name) for name in SHEETS}
    kinds = frames[sheet].dtypes
    frames[sheet] = pd.DataFrame(rows, columns=kinds.index).astype(kinds)
    return Exposure(**frames)


def unrun(value: object) -> object:
    """A value which, if text, no spreadsheet runs: such text stands behind an apostrophe."""
    return f"'{value}" if isinstance(value, str) and re.match(f"'*{_RUN}", value) else value


def unrun_column(text: pd.Series) -> pd.Series:
    """`unrun` of each text of a column."""
    run: pd.Series = text.str.match(f"'*{_RUN}").fillna(value=False)
    return text.mask(run, "'" + text) if run.any() else text


def as_meant(text: pd.Series) -> pd.Series:
    """Texts as they were before `unrun`."""
    run: pd.Series = text.str.match(f"''*{_RUN}")
    return text.mask(run, text.str.slice(1)) if run.any() else text


def csv_of(frame: pd.DataFrame) -> bytes:
    """A frame as CSV in UTF-8; text that a spreadsheet would run gets an apostrophe."""
    safe: pd.DataFrame = frame.select_dtypes("str").apply(unrun_column)
    return frame.assign(**safe).to_csv(index=False, lineterminator="\r\n").encode()
