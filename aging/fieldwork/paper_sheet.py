"""The round sheet on paper: boxes to write into, panels in the order in which they hang."""

from __future__ import annotations

from aging.fieldwork.paper import breakable, printed
from aging.fieldwork.round_sheet import CAUTIONS, RIG, Asked, RoundSheet, ToRead

BOX_MM, ROOM_MM = 10, 140  # of a box; of all boxes beside each other on a page
MOST_BOXES, RATING = 5, 2  # boxes; width of a rating's column in boxes


def paper_sheet(sheet: RoundSheet, *, earlier: bool = False) -> bytes:
    """PDF, A4 across; `earlier` prints the last value below its boxes, which anchors the reader."""
    from aging.charts.style import GRID, INK, MUTED, WIDE_BAND

    return printed("round", {
        "title": f"Round at {sheet.site_name}, {sheet.on}", "sheet_id": sheet.sheet_id,
        "cautions": CAUTIONS, "ink": INK, "muted": MUTED, "grid": GRID, "shade": WIDE_BAND,
        "box_mm": BOX_MM,
        "rigs": [
            {"what": ", ".join(one.label for one in sheet.properties if one.name in rig.properties),
             "with": ", ".join(f"{rig.options[0][name]:g} deg" if name == "observer_deg"
                               else str(rig.options[0][name])
                               for name in RIG if rig.options and name in rig.options[0])}
            for rig in sheet.rigs
        ],
        "tables": [
            {"widths": [_width(one) for one in part],
             "heads": [{"label": one.label.partition(" (")[0], "told": _told(one)} for one in part],
             "rows": [{"place": " ".join(filter(None, (panel.rack, panel.position))) or "file",
                       "panel": breakable(panel.panel),
                       "cells": [_cell(panel, one, earlier=earlier) for one in part]}
                      for panel in sheet.panels]}
            for part in _tables(sheet.properties)
        ],
    })  # fmt: skip


def _tables(asked: tuple[Asked, ...]) -> list[list[Asked]]:
    """Properties that stand beside each other on a page."""
    tables: list[list[Asked]] = [[]]
    for one in asked:
        if sum(map(_width, [*tables[-1], one])) * BOX_MM > ROOM_MM:
            tables.append([])
        tables[-1].append(one)
    return tables


def _boxes(asked: Asked) -> int:
    return 1 if asked.steps else max(1, min(asked.spots, MOST_BOXES))


def _width(asked: Asked) -> int:
    return max(RATING, _boxes(asked))


def _told(asked: Asked) -> str:
    scale = asked.label.partition(" (")[2].rstrip(")")  # which end of a rating is none
    usual = f"usual {asked.limits['usual_low']:g} to {asked.limits['usual_high']:g}"
    by = f"method {asked.method or ' or '.join(asked.methods)}" if asked.methods else ""
    return ", ".join(filter(None, (asked.unit, scale, usual, by)))


def _cell(panel: ToRead, asked: Asked, *, earlier: bool) -> dict[str, object] | None:
    if asked.name not in panel.properties:
        return None
    last = panel.earlier.get(asked.name) if earlier else None
    told = f"{last.value:.{asked.decimals}f} on {last.on}" if last else ""
    return {"boxes": _boxes(asked), "earlier": told}
