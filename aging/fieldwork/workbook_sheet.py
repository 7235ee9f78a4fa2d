"""The round sheet as a workbook: a tab `readings` to fill in, and the facts of what hangs there.

A row a panel and property, in the order in which panels hang. Cells take only what may stand in
them: words of the trade, values in the property's range, steps of a rating, days up to today. Each
row has a reading_id of its own, made of sheet, panel and property, so that the workbook may come in
as often as it likes. Columns that intake does not know (site, rack, position, last value) help the
person and are left out when it comes back.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from io import BytesIO
from pathlib import Path
from typing import Any
from uuid import NAMESPACE_URL, uuid5

import pandas as pd

from aging.errors import SourceError
from aging.fieldwork.round_sheet import CAUTIONS, RIG, Asked, RoundSheet, ToRead
from aging.intake.columns import read_columns
from aging.intake.folder import find
from aging.intake.raw import Raw, shown
from aging.intake.readings import check_readings
from aging.intake.rows import repeats
from aging.records import SHEETS, Exposure, Intake, empty_frame
from aging.vocabulary import BLISTER_FREQUENCIES, SURFACE_STATES, WETNESS

HELP = ("site", "rack", "position")
LAST = ("last_value", "last_read_on")
ENTRY = ("value", "read_on", "surface_state", "surface_wetness", "spot_values", "method",
         "blister_frequency", *RIG, "operator", "remark")  # fmt: skip
WORDS = {"surface_state": SURFACE_STATES, "surface_wetness": WETNESS,
         "blister_frequency": BLISTER_FREQUENCIES}  # fmt: skip
HOW = (
    "Fill the tab `readings`: a row a panel and property, in the order in which panels hang.",
    "value is the mean of the spots, in the unit beside it. Say how the surface was in every row.",
    "Leave value empty where nothing was read.",
    "For a second reading, such as after washing, copy the row and clear its reading_id.",
    "Bring it in with: aging take FILE --store STORE",
)
WIDTHS = {"panel": 24, "property": 19, "remark": 32, "spot_values": 20, "reading_id": 14,
          "surface_wetness": 15, "instrument": 14, "weighting": 18}  # fmt: skip
MORE_ROWS = 200  # that a person may add below, still held to the rules
MOST_OFFERED = 250  # characters; a cell rule takes 255


def workbook(sheet: RoundSheet, exposure: Exposure, *, earlier: bool = False) -> bytes:
    """The .xlsx file; `earlier` shows each last value, which anchors the reader."""
    from openpyxl import Workbook

    asked = {one.name: one for one in sheet.properties}
    rows = [_row(sheet, panel, asked[name]) for panel in sheet.panels for name in panel.properties]
    unused = {name for name in RIG if not any(name in row for row in rows)} - {"instrument"}
    unused |= set() if any(one.methods for one in sheet.properties) else {"method"}
    unused |= set() if "blistering" in asked else {"blister_frequency"}
    columns = [*HELP, "panel", "property", *(LAST if earlier else ()),
               *(name for name in ENTRY if name not in unused), "unit", "reading_id"]  # fmt: skip
    book = Workbook()
    _first_tab(book.active, sheet)
    tab = book.create_sheet("readings")
    _table(tab, columns, rows)
    tab.freeze_panes = tab.cell(2, columns.index("property") + 2)
    _rules(tab, columns, rows, sheet)
    hung = exposure.panels.set_index("panel", drop=False)
    hung = hung.loc[[panel.panel for panel in sheet.panels]]
    _facts(book, "panels", hung)
    for name in ("site", "formulation"):
        facts = getattr(exposure, f"{name}s")
        _facts(book, f"{name}s", facts[facts[name].isin(hung[name])])
    file = BytesIO()
    book.save(file)
    return file.getvalue()


def read_workbook(path: str | Path, known: Exposure) -> Intake:
    """Read a filled workbook and check it against the panels of a store.

    Rows without a value were not read and are only counted, in a note. SourceError where the file
    is no workbook with the tabs panels and readings.
    """
    raws, _ = find(Path(path))
    raw = next(raw for raw in raws if raw.sheet == "readings")
    if "value" not in raw.cells or raw.broken:
        raise SourceError(
            f"{path}: the tab readings has no column value; give the sheet as written"
        )
    entered = [name for name in ("value", "spot_values") if name in raw.cells]
    empty = (raw.cells[entered].apply(lambda cells: cells.str.strip()) == "").all(axis="columns")
    own = [name for name in raw.cells if name in SHEETS["readings"].names]
    raw = replace(raw, file=shown(Path(path).name), cells=raw.cells.loc[~empty, own])
    today = datetime.now(tz=UTC).date()
    desk = read_columns(raw, day_first=None, today=today)
    for column in ("surface_state", "surface_wetness"):
        unsaid = desk.columns[column].isna().to_numpy(bool)
        desk.flag("missing-value", unsaid, column, "a filled cell", "say how the surface was")
    hung = known.panels.drop(columns="extra").astype("str").fillna("")
    check_readings(
        desk, read_columns(Raw("panels", "the store", hung), day_first=None, today=today)
    )
    repeats(desk)
    sheets = {name: empty_frame(name) for name in SHEETS} | {"readings": desk.frame()}
    notes = (f"{raw.file}: {empty.sum()} rows without a value: not read",) if empty.any() else ()
    return Intake(
        Exposure(**sheets), tuple(desk.in_order()), (desk.tally(),), (*desk.notes, *notes)
    )


def _row(sheet: RoundSheet, panel: ToRead, asked: Asked) -> dict[str, object]:
    rigs = (rig.options[:1] for rig in sheet.rigs if asked.name in rig.properties)
    rig = next((one for options in rigs for one in options), {})
    last = panel.earlier.get(asked.name)
    name = f"{sheet.sheet_id}/{panel.panel}/{asked.name}"
    return {
        "site": sheet.site, "rack": panel.rack, "position": panel.position, "panel": panel.panel,
        "property": asked.name, "read_on": date.fromisoformat(sheet.on), "method": asked.method,
        "last_value": last and last.value, "last_read_on": last and last.on,
        "operator": sheet.operator, "unit": asked.unit,
        "reading_id": str(uuid5(NAMESPACE_URL, name)), **rig,
    }  # fmt: skip


def _facts(book: Any, name: str, frame: pd.DataFrame) -> None:
    """A tab of facts as they are known, lest loading it takes any away."""
    extra = [json.loads(text) if isinstance(text, str) else {} for text in frame["extra"]]
    rows = [{**row, **more} for row, more in zip(frame.to_dict("records"), extra, strict=True)]
    columns = list(dict.fromkeys((*SHEETS[name].names, *(one for more in extra for one in more))))
    _table(book.create_sheet(name), columns, rows)


def _first_tab(tab: Any, sheet: RoundSheet) -> None:
    from openpyxl.styles import Alignment, Font

    tab.title = "read me first"
    lines = [f"Round at {sheet.site_name}, {sheet.on}", *HOW, "", *CAUTIONS]
    for place, line in enumerate(lines, start=1):
        cell = tab.cell(place, 1)
        _put(cell, line)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        cell.font = Font(bold=place == 1, size=14 if place == 1 else 11)
    tab.column_dimensions["A"].width = 90


def _table(tab: Any, columns: list[str], rows: list[dict[Any, Any]]) -> None:
    from openpyxl.styles import Font, PatternFill

    from aging.charts.style import WIDE_BAND

    for place, name in enumerate(columns, start=1):
        head = tab.cell(1, place)
        _put(head, name)
        head.font, head.fill = Font(bold=True), PatternFill("solid", fgColor=WIDE_BAND[1:])
        tab.column_dimensions[head.column_letter].width = WIDTHS.get(name, 13)
        for number, row in enumerate(rows, start=2):
            _put(tab.cell(number, place), row.get(name))


def _put(cell: Any, value: object) -> None:
    """Text stays text: a name that begins with = is no formula."""
    if value is None or value == "" or value != value:  # noqa: PLR0124 - NaN
        return
    cell.value = value
    if isinstance(value, str):
        cell.data_type, cell.number_format = "s", "@"
    elif isinstance(value, date):
        cell.number_format = "yyyy-mm-dd"


def _rules(tab: Any, columns: list[str], rows: list[dict[str, object]], sheet: RoundSheet) -> None:
    """What may stand in the cells; where a list is only what is usual, other words pass."""
    from openpyxl.utils import get_column_letter

    letter = {name: get_column_letter(at) for at, name in enumerate(columns, start=1)}
    span = {name: f"{at}2:{at}{len(rows) + MORE_ROWS}" for name, at in letter.items()}
    for column, words in WORDS.items():
        if column in span:
            _list(tab, span[column], words)
    usual = {name: [option[name] for rig in sheet.rigs for option in rig.options if name in option]
             for name in RIG} | {"operator": [sheet.operator, *sheet.operators]}  # fmt: skip
    for name, options in usual.items():
        if name in span:
            _list(tab, span[name], [f"{one:g}" if isinstance(one, float) else one
                                    for one in dict.fromkeys(options)], strict=False)  # fmt: skip
    _rule(tab, span["read_on"], "a day up to today", type="date", operator="between",
          formula1="DATE(2000,1,1)", formula2="TODAY()+1")  # fmt: skip
    for one in sheet.properties:
        mine = [at for at, row in enumerate(rows, start=2) if row["property"] == one.name]
        if not mine:
            continue
        low, high = one.limits["low"], one.limits["high"]
        first, cells = (" ".join(f"{letter['value']}{at}" for at in some)
                        for some in (mine[:1], mine))  # fmt: skip
        told = f"{one.label}: {low:g} to {high:g} {one.unit}"
        if one.steps:
            step = one.limits["step"]
            told = f"{told}in steps of {step:g}"
            rule = f"AND({first}>={low},{first}<={high},MOD({first}/{step},1)=0)"
            _rule(tab, cells, told, type="custom", formula1=rule)
        else:
            _rule(tab, cells, told, type="decimal", operator="between", formula1=low, formula2=high)
        if one.methods:
            _list(tab, " ".join(f"{letter['method']}{at}" for at in mine), one.methods)


def _list(tab: Any, cells: str, words: Sequence[str], *, strict: bool = True) -> None:
    """Offer words, as many as a list in a cell rule can hold; it has no sign for a comma in one."""
    offered = ""
    for word in words:
        if word and not set(word) & set(',"') and len(offered) + len(word) < MOST_OFFERED:
            offered += f",{word}"
    if offered:
        _rule(tab, cells, f"one of: {offered[1:]}", strict=strict, type="list",
              formula1=f'"{offered[1:]}"')  # fmt: skip


def _rule(tab: Any, cells: str, told: str, *, strict: bool = True, **how: Any) -> None:
    from openpyxl.worksheet.datavalidation import DataValidation

    rule = DataValidation(allow_blank=True, showErrorMessage=strict, error=told[:225],
                          errorTitle="Not allowed", sqref=cells, **how)  # fmt: skip
    tab.add_data_validation(rule)
