"""An exposure as a folder of CSV files: RFC 4180, UTF-8, ISO 8601 dates, one file a sheet.

Columns without any value are left out, as are ids that a reader makes from the other columns
anyway; facts in `extra` become columns of their own. Weather is one file per site.
"""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd

from aging.errors import require
from aging.records import SHEETS, Exposure
from aging.simulation.campaign import Campaign
from aging.simulation.sheets import natural_key

ABOUT = """\
Everything in this folder is invented: sites, formulations, panels, weather and every reading. No
figure here says anything about a real coating or place.

It was written by {told}

truth/truth.csv holds what the simulation knows and no reader of panels can: at each visit and
every half year the state of a formulation on an average day (state), the same of its panels
(state_of_panels) and what a visit that day reads of them, without noise of spots (reading).
"""


def write_folder(exposure: Exposure, folder: Path) -> None:
    """Write every sheet that has rows; files of the same names are replaced."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in exposure.frames():
        if name == "weather":
            for site, daily in frame.groupby("site"):
                (folder / "weather").mkdir(exist_ok=True)
                write_csv(
                    _plain("weather", daily.drop(columns="site")), folder / f"weather/{site}.csv"
                )
        elif len(frame):
            write_csv(_plain(name, frame), folder / f"{name}.csv")


def write_campaign(campaign: Campaign, folder: Path, told: str) -> None:
    """Write a campaign, its truth/truth.csv and an ABOUT.txt with what is `told` of it.

    CallError where the folder holds anything already.
    """
    empty = not folder.exists() or (folder.is_dir() and not any(folder.iterdir()))
    require(empty, "folder", str(folder), "a new or an empty folder")
    write_folder(campaign.exposure, folder)
    (folder / "truth").mkdir()
    write_csv(campaign.truth.round(5), folder / "truth/truth.csv")
    (folder / "ABOUT.txt").write_text(ABOUT.format(told=told), encoding="utf-8")


def write_csv(frame: pd.DataFrame, path: Path) -> None:
    """Write a frame the same way on every system; whole numbers carry no decimals."""
    numbers = frame.select_dtypes("number")
    whole = numbers.columns[(numbers.isna() | (numbers % 1 == 0)).all()]
    frame.astype(dict.fromkeys(whole, "Int64")).to_csv(path, index=False, lineterminator="\n")


def _plain(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    extra = frame["extra"].dropna().map(json.loads)
    frame = frame.drop(columns="extra")
    if name == "readings" and frame["reading_id"].equals(natural_key(frame)):
        frame = frame.drop(columns="reading_id")
    required = [column.name for column in SHEETS[name].columns if column.required]
    used = [column for column in frame if column in required or frame[column].notna().any()]
    return frame[used].join(pd.DataFrame(extra.tolist(), index=extra.index))
