"""Small exposure folders that a command can be tried on."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

MONTHS = ("2024-04-02", "2024-06-03", "2024-09-02", "2024-12-02", "2025-03-03", "2025-06-02")
LOSS = {"plain": (0, 0.05, 0.08, 0.10, 0.11, 0.12), "silica": (0, 0.03, 0.05, 0.06, 0.06, 0.07)}


def write(folder: Path, sheet: str, rows: list[dict[str, object]]) -> None:
    with (folder / f"{sheet}.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)


def readings(panels: list[dict[str, object]]) -> list[dict[str, object]]:
    return [
        {
            "panel": panel["panel"],
            "read_on": day,
            "property": "solar_reflectance",
            "value": round(0.84 - loss + 0.002 * number, 3),
            "surface_state": "as_exposed",
        }
        for number, panel in enumerate(panels)
        for day, loss in zip(MONTHS, LOSS[str(panel["formulation"])], strict=True)
    ]


@pytest.fixture
def folder(tmp_path):
    """Two formulations, three panels each, six visits: 36 sound readings."""
    path = tmp_path / "racks"
    path.mkdir()
    panels: list[dict[str, object]] = [
        {"panel": f"{name}-{k}", "formulation": name, "site": "yard", "exposed_on": MONTHS[0]}
        for name in LOSS
        for k in (1, 2, 3)
    ]
    roles = {"plain": "control", "silica": "candidate"}
    write(path, "formulations", [{"formulation": f, "role": r} for f, r in roles.items()])
    write(path, "panels", panels)
    write(path, "readings", readings(panels))
    return path


@pytest.fixture
def faulty(folder):
    """The same folder with one impossible value and one day that may be two."""
    path = folder / "readings.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    lines[1] = "plain-1,2024-04-02,solar_reflectance,1.4,as_exposed"
    lines[2] = "plain-1,03/06/2024,solar_reflectance,0.79,as_exposed"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder
