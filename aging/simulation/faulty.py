"""A small folder with the faults that people make when they log readings, each on a known line."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from aging.simulation.campaign import simulate
from aging.simulation.scenario import SITES, Design, blend
from aging.simulation.write import write_folder

SEED = 20250304
PLAIN = Design(
    sites=SITES[::2],
    formulations=(blend(0, 0), blend(8, 0), blend(0, 30)),
    panels=2,
    file_specimens=0,
    exposed_on=date(2025, 3, 4),
    visits=(0, 2, 6, 12),
    marks=(),
    missing_visit=0.0,
    missing_reading=0.0,
    properties=("solar_reflectance", "chalking_astm"),
    sparse=3,
    weather=False,
)


@dataclass(frozen=True)
class Fault:
    """A fault planted in one cell of a reading; `wrong` makes the cell from the right one."""

    what: str
    column: str
    wrong: Callable[[str], str]
    property: str = "solar_reflectance"


FAULTS = (
    Fault("percent where the unit says fraction", "value", lambda cell: f"{float(cell) * 100:.1f}"),
    Fault("a date that could be 3 April or 4 March", "read_on", lambda _: "03/04/2025"),
    Fault("a date before the panel was exposed", "read_on", lambda _: "2024-11-30"),
    Fault("a date in the future (2026 mistyped)", "read_on", lambda cell: f"2062{cell[4:]}"),
    Fault("a panel that panels.csv does not know", "panel", lambda cell: f"{cell[:-1]}9"),
    Fault("a property that does not exist", "property", lambda _: "solar_reflectence"),
    Fault("a chalking rating above 10", "value", lambda _: "12", "chalking_astm"),
    Fault("a chalking rating between two steps", "value", lambda _: "7.5", "chalking_astm"),
    Fault("text where a number belongs", "value", lambda _: "too dirty"),
    Fault("no value", "value", lambda _: ""),
    Fault("a surface state that does not exist", "surface_state", lambda _: "cleaned"),
    Fault("a mistyped unit", "unit", lambda _: "fracton"),
    Fault(
        "a decimal comma in a comma-separated file", "value", lambda cell: cell.replace(".", ",")
    ),
)


def write_faulty(folder: Path) -> None:
    """Write the folder and its ABOUT.txt, which names each fault and its line."""
    write_folder(simulate(PLAIN, SEED).exposure, folder)
    path = folder / "readings.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    faults = {}
    for number, fault in enumerate(FAULTS):
        line = next(
            index
            for index in range(4 * number + 1, len(rows))
            if rows[index]["property"] == fault.property and index not in faults
        )
        rows[line][fault.column] = fault.wrong(rows[line][fault.column])
        faults[line] = fault.what
    twin = len(rows) - 2  # rows from here on are sound, so copies of them are the only fault
    rows += [dict(rows[twin]), {**rows[twin + 1], "value": "0.700"}]
    faults[len(rows) - 2] = f"the same reading as line {twin + 2} once more"
    faults[len(rows) - 1] = f"the same reading as line {twin + 3} with another value"

    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0], lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    listed = "".join(f"  line {line + 2:3d}  {what}\n" for line, what in sorted(faults.items()))
    about = (
        "Invented readings, like all of the sample, with faults planted on purpose.\n"
        "`python -m aging.simulation sample_exposure` wrote them. In readings.csv (the header is\n"
        f"line 1) stand:\n{listed}"
    )
    (folder / "ABOUT.txt").write_text(about, encoding="utf-8")
