"""Files and sheets from people to checked records: every row is accepted or refused with a reason.

>>> from aging import intake
>>> result = intake.read("sample_exposure")  # doctest: +SKIP
>>> result.findings, result.tallies, result.exposure.readings  # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from aging.intake.codes import CODES
from aging.intake.columns import read_columns
from aging.intake.desk import Desk
from aging.intake.extra import composition
from aging.intake.folder import find
from aging.intake.readings import check_readings
from aging.intake.rows import closures, completed, named, repeats
from aging.intake.spectra_sheet import check_spectra
from aging.intake.weather_sheet import check_weather
from aging.records import SHEETS, Exposure, Intake, Tally, empty_frame

__all__ = ["CODES", "composition", "read"]

RULES = {"readings": check_readings, "spectra": check_spectra, "weather": check_weather}


def read(path: str | Path, *, day_first: bool | None = None) -> Intake:
    """Read an exposure folder or workbook and check all of it.

    `day_first` says how dates such as 03/04/2025 are meant; None refuses them as ambiguous.
    Raises SourceError where the source cannot be read at all or lacks panels or readings;
    everything else that is wrong is in the findings.
    """
    raws, notes = find(Path(path))
    today = datetime.now(tz=UTC).date()
    desks: dict[str, list[Desk]] = {name: [] for name in SHEETS}
    for raw in raws:
        desks[raw.sheet].append(read_columns(raw, day_first=day_first, today=today))
    panels = desks["panels"][0]
    closures(panels)
    for name in ("sites", "formulations", "panels"):
        for desk in desks[name]:
            repeats(desk)
    frames = {"panels": panels.frame()}
    for name in ("sites", "formulations"):
        frames[name], made = completed(next(iter(desks[name]), None), name, panels)
        notes += made
    for name, check in RULES.items():
        for desk in desks[name]:
            check(desk, panels)
    for name in (name for name in SHEETS if name not in frames):
        frames[name] = empty_frame(name)
        for desk in desks[name]:
            named(desk, "site", frames["sites"]["site"], "unknown-site")
            if name not in ("readings", "spectra"):  # which tell more of an unknown panel
                named(desk, "panel", frames["panels"]["panel"], "unknown-panel")
            repeats(desk, elsewhere=frames[name])
            frames[name] = _joined(frames[name], desk.frame())
    found = [desk for name in SHEETS for desk in desks[name]]
    return Intake(
        Exposure(**frames),
        tuple(finding for desk in found for finding in desk.in_order()),
        tuple(_tally(name, desks[name]) for name in SHEETS if desks[name]),
        (*(note for desk in found for note in desk.notes), *notes),
    )


def _joined(first: pd.DataFrame, then: pd.DataFrame) -> pd.DataFrame:
    return pd.concat([first, then], ignore_index=True) if len(first) else then


def _tally(name: str, desks: Sequence[Desk]) -> Tally:
    tallies = [desk.tally() for desk in desks]
    return Tally(
        name,
        sum(tally.rows for tally in tallies),
        sum(tally.accepted for tally in tallies),
        sum(tally.refused for tally in tallies),
    )
