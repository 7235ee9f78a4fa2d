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
from aging.intake.folder import NEEDED, find, foreign
from aging.intake.matching import Matching
from aging.intake.raw import STORED, Raw
from aging.intake.readings import check_readings
from aging.intake.refused import refused_rows
from aging.intake.rows import closures, completed, named, repeats
from aging.intake.spectra_sheet import check_spectra
from aging.intake.standing import STANDING, own_rows, with_known
from aging.intake.weather_sheet import check_weather
from aging.records import SHEETS, Exposure, Intake, Tally, empty_frame

__all__ = ["CODES", "checked", "composition", "foreign", "read"]

RULES = {"readings": check_readings, "spectra": check_spectra, "weather": check_weather}


def read(
    path: str | Path,
    *,
    day_first: bool | None = None,
    matchings: Sequence[Matching] = (),
    known: Exposure | None = None,
) -> Intake:
    """Read an exposure folder, a workbook or a table, and check all of it.

    `day_first` says how dates such as 03/04/2025 are meant; None refuses them as ambiguous.
    `matchings` read tables with a laboratory's own headers. `known`: what the store holds that the
    rows go to; its panels, formulations and sites may be named, and no sheet is needed then.
    Raises SourceError where the source cannot be read at all or lacks panels or readings;
    everything else that is wrong is in the findings.
    """
    raws, notes = find(Path(path), matchings, NEEDED if known is None else ())
    return checked(raws, notes, day_first=day_first, known=known)


def checked(
    raws: Sequence[Raw],
    notes: Sequence[str] = (),
    *,
    day_first: bool | None = None,
    known: Exposure | None = None,
) -> Intake:
    """Hold sheets to all rules; panels must be among them or among what is `known`."""
    notes, today = list(notes), datetime.now(tz=UTC).date()
    desks: dict[str, list[Desk]] = {name: [] for name in SHEETS}
    for raw in with_known(list(raws), known):
        desks[raw.sheet].append(read_columns(raw, day_first=day_first, today=today))
    panels = desks["panels"][0]
    closures(panels)
    for name in STANDING:
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
        frames[name] = _beside(name, desks[name], frames["sites"], frames["panels"])
    if known is not None:
        frames |= {name: own_rows(frames[name], desks[name][0], known) for name in STANDING}
    found = [desk for name in SHEETS for desk in desks[name]]
    own = [desk for desk in found if (desk.raw.cells.index != STORED).any() or known is None]
    findings = dict.fromkeys(one for desk in found for one in desk.in_order())
    return Intake(
        Exposure(**frames),
        tuple(one for one in findings if one.row != STORED),
        tuple(_tally(name, own) for name in dict.fromkeys(desk.raw.sheet for desk in own)),
        (*dict.fromkeys(note for desk in found for note in desk.notes), *notes),
        refused_rows(found),
    )


def _beside(
    name: str, desks: Sequence[Desk], sites: pd.DataFrame, panels: pd.DataFrame
) -> pd.DataFrame:
    """The accepted rows of a sheet's files, held to sites, panels and each other."""
    frame = empty_frame(name)
    for desk in desks:
        named(desk, "site", sites["site"], "unknown-site")
        if name not in ("readings", "spectra"):  # which tell more of an unknown panel
            named(desk, "panel", panels["panel"], "unknown-panel")
        repeats(desk, elsewhere=frame)
        frame = _joined(frame, desk.frame())
    return frame


def _joined(first: pd.DataFrame, then: pd.DataFrame) -> pd.DataFrame:
    return pd.concat([first, then], ignore_index=True) if len(first) else then


def _tally(name: str, desks: Sequence[Desk]) -> Tally:
    tallies = [desk.tally() for desk in desks if desk.raw.sheet == name]
    return Tally(
        name,
        sum(tally.rows for tally in tallies),
        sum(tally.accepted for tally in tallies),
        sum(tally.refused for tally in tallies),
    )
