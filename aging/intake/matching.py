"""What each header of a laboratory's table means: proposed, confirmed by a person, remembered.

A matching is rows of the sheet `matchings`. A layout is known by its set of headers, so that the
next file with the same headers, in whatever order, is read without asking. Each header means a
column of the sheet, or a property, whose readings then stand in that column; a header without a
meaning is left out. A row with the header `*` holds for all rows of the table: its `value`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace

import pandas as pd

from aging.errors import require
from aging.intake.cells import NOTHING, SWAPPABLE
from aging.intake.raw import plain
from aging.intake.synonyms import WEATHER_UNITS, heard
from aging.intake.tables import ALL_ROWS, Table
from aging.records import SHEETS, Exposure, exposure_with
from aging.vocabulary import PROPERTIES, SURFACE_STATES, UNIT_FACTORS

ORDERS = {"day first": True, "month first": False}  # how a date column means 03/04/2025
MATCHED = ("readings", "panels", "formulations", "sites", "events", "weather")
KEPT = "as it is"  # kept as a further column
OF_ONE_FILE = ("read_on", "site")  # said of all rows they hold for one file, and are not remembered
HANGING = ("formulation", "site", "exposed_on")  # with them a table of readings tells its panels


@dataclass(frozen=True)
class Match:
    """What a header means: a column or property, its unit (or order of dates), surface state."""

    header: str
    meaning: str = ""
    unit: str = ""
    surface_state: str = ""
    value: str = ""


@dataclass(frozen=True)
class Matching:
    """Which sheet a table is, and what its headers mean; CallError where that cannot be."""

    sheet: str
    matches: tuple[Match, ...]

    def __post_init__(self) -> None:
        require(self.sheet in MATCHED, "sheet", self.sheet, MATCHED)
        taken: set[str] = set()
        for one in self.matches:
            require(one.meaning in ("", KEPT) or one.meaning in meanings(self.sheet),
                    f"meaning of {one.header}", one.meaning, meanings(self.sheet))  # fmt: skip
            require(one.unit in units(one.meaning), f"unit of {one.header}", one.unit,
                    [unit or "nothing" for unit in units(one.meaning)])  # fmt: skip
            require(one.surface_state in ("", *SURFACE_STATES), f"surface state of {one.header}",
                    one.surface_state, SURFACE_STATES)  # fmt: skip
            column = one.meaning not in ("", KEPT) and one.meaning not in self.measured
            require(not column or one.meaning not in taken, f"meaning of {one.header}",
                    one.meaning, "each column once")  # fmt: skip
            taken |= {one.meaning} if column else set()

    @property
    def measured(self) -> tuple[str, ...]:
        """Properties that stand in columns of their own."""
        return tuple(one.meaning for one in self.matches if self.of_property(one))

    def of_property(self, match: Match) -> bool:
        """Whether a column holds readings of a property."""
        return self.sheet == "readings" and match.meaning in PROPERTIES

    @property
    def headers(self) -> frozenset[str]:
        """Headers of the layout, without case and spaces."""
        return frozenset(plain(one.header) for one in self.matches if one.header != ALL_ROWS)

    @property
    def layout(self) -> str:
        """Name of the layout: a digest of its headers."""
        return hashlib.sha256("\n".join(sorted(self.headers)).encode()).hexdigest()[:12]

    @property
    def lacking(self) -> tuple[str, ...]:
        """Columns without which no row can be stored."""
        meant = {one.meaning for one in self.matches}
        made = {"property", "value"} if self.measured else set()
        needed = [column.name for column in SHEETS[self.sheet].columns if column.required]
        return tuple(name for name in needed if name not in meant | made)


def meanings(sheet: str) -> list[str]:
    """What a header of a sheet may mean, properties first."""
    names = [name for name in SHEETS[sheet].names if name not in ("recorded_by", "recorded_at")]
    if sheet != "readings":
        return names
    hung = [name for name in SHEETS["panels"].names if name not in {*names, *PROPERTIES}]
    return [*names, *hung, *PROPERTIES]


def units(meaning: str) -> list[str]:
    """Units in which a property or weather may stand, or the orders of a date; "" is its own."""
    if meaning in WEATHER_UNITS:
        return ["", *WEATHER_UNITS[meaning]]
    if meaning in PROPERTIES:
        return ["", *UNIT_FACTORS[PROPERTIES[meaning].unit]]
    return ["", *ORDERS] if is_dated(meaning) else [""]


def is_dated(meaning: str) -> bool:
    """Whether a column holds dates."""
    return any(column.name == meaning and column.kind in ("date", "moment")
               for sheet in SHEETS.values() for column in sheet.columns)  # fmt: skip


def propose(table: Table) -> Matching:
    """What the headers of a table seem to mean, for a person to confirm."""
    told = {header: heard(header) for header in table.headers}
    sheet = _sheet_of([one.meaning for one in told.values()])
    if sheet == "weather":
        told = {header: replace(one, meaning="date" if one.meaning == "read_on" else one.meaning)
                for header, one in told.items()}  # fmt: skip
    allowed, taken, matches = meanings(sheet), set[str](), []
    for header, one in told.items():
        meaning = one.meaning if one.meaning in allowed and one.meaning not in taken else KEPT
        if meaning not in PROPERTIES or sheet != "readings":
            taken |= {meaning} - {KEPT}
        unit = one.unit.lower() if meaning in {*PROPERTIES, *WEATHER_UNITS} else ""
        if is_dated(meaning):
            unit = _order(table.cells[header])
        unit = unit if unit in units(meaning) else ""
        state = one.surface_state if meaning in PROPERTIES else ""
        matches.append(Match(header, meaning, unit, state))
    orders = {one.unit for one in matches if one.unit in ORDERS}
    if len(orders) == 1:  # one column tells how the dates of the others are meant
        matches = [replace(one, unit=one.unit or min(orders)) if _swappable(table, one) else one
                   for one in matches]  # fmt: skip
    return Matching(sheet, tuple(matches))


def _swappable(table: Table, match: Match) -> bool:
    return is_dated(match.meaning) and bool(
        table.cells[match.header].str.strip().str.fullmatch(SWAPPABLE).any()
    )


def _sheet_of(meant: Sequence[str]) -> str:
    if set(meant) & set(WEATHER_UNITS) and "panel" not in meant:
        return "weather"
    read = set(meant) & {"value", "read_on", *PROPERTIES}
    if "panel" in meant and read - {"dry_film_um"}:
        return "readings"
    if "panel" in meant and set(meant) & set(HANGING):
        return "panels"
    if "formulation" in meant:
        return "formulations"
    return "sites" if "site" in meant and "panel" not in meant else "readings"


def _order(cells: pd.Series) -> str:
    """How dates such as 03/04/2025 must be meant, where some of them say so."""
    parts = cells.str.strip().str.extract(f"^{SWAPPABLE}$").dropna(subset=[0])
    first, second = (pd.to_numeric(parts[at]) > 12 for at in (0, 1))  # noqa: PLR2004 - months
    if first.any() == second.any():
        return ""
    return "day first" if first.any() else "month first"


def seems_percent(cells: pd.Series) -> bool:
    """Whether bare numbers of a fraction look like percentages."""
    text = cells.str.strip().str.replace(",", ".", regex=False)
    numbers = pd.to_numeric(text.mask(text.str.lower().isin(NOTHING)), errors="coerce")
    return bool(numbers.median() > 1.5)  # noqa: PLR2004 - `readings.MEANT_AS_PERCENT`


def known_for(table: Table, known: Iterable[Matching]) -> Matching | None:
    """The matching of a table's set of headers, the last one; None where there is none."""
    headers = frozenset(map(plain, table.headers))
    mine = [one for one in known if one.headers == headers]
    return mine[-1] if mine else None


def to_sheet(matchings: Iterable[Matching]) -> Exposure:
    """An exposure that holds the rows of the sheet `matchings` and nothing else."""
    rows = [
        {"layout": one.layout, "sheet": one.sheet,
         **{name: cell or None for name, cell in asdict(match).items()}}
        for one in matchings for match in one.matches
        if match.header != ALL_ROWS or match.meaning not in OF_ONE_FILE
    ]  # fmt: skip
    return exposure_with("matchings", rows)


def from_sheet(frame: pd.DataFrame) -> list[Matching]:
    """Matchings of the sheet; CallError for what a header cannot mean."""
    named = ["header", "meaning", "unit", "surface_state", "value"]
    told = frame.assign(**{name: frame[name].fillna("") for name in named})
    return [
        Matching(str(sheet), tuple(Match(*row) for row in rows[named].itertuples(index=False)))
        for (_, sheet), rows in told.groupby(["layout", "sheet"], sort=False)
    ]


def with_value(matching: Matching, column: str, value: str) -> Matching:
    """The same with a value of a column that holds for all rows."""
    unit = next((one.unit for one in matching.matches if one.meaning == column), "")
    more = Match(ALL_ROWS, column, unit, "", value)
    return replace(matching, matches=(*matching.matches, more))
