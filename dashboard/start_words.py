"""What the pages of the first five minutes say: a source, a new trial, pages with nothing yet."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path
from typing import Any

EMPTY = Path(__file__).with_name("empty_pages.csv")

SOURCE, BEGIN = "Source", "Start a trial"
NO_SOURCE_YET = "Nothing is open yet"
THREE_WAYS = "Three ways to begin. None of them changes a file that you have."
OPEN_NOW = "Open now: "
SWITCHED = "This choice holds until this server stops; to come back to it, start with:"
LOOK, LOOK_IS = (
    "Look around",
    (
        "A made-up trial of 20 months and an older one of 36, to click through every page. It is a "
        "copy of your own, gone when this server stops: log, settle and claim in it as you like. "
        "The sample is an invented scenario: invented sites, formulations and readings."
    ),
)
OPEN_SAMPLE, MAKING = "Open the sample", "Inventing the sample, about 10 seconds ..."
OWN, OWN_IS = (
    "Start your own trial",
    (
        "Name sites and formulations. You get panels with a place on the rack drawn by lot, a plan "
        "of visits, labels, and a store for the readings."
    ),
)
BRING, BRING_IS = (
    "Bring your readings",
    (
        "CSV files, a workbook or a ZIP, with your laboratory's own headers if need be. You see "
        "what would be stored before anything is."
    ),
)
TO_LOAD = "Load readings"
OPEN_HEADING = "Open what is there"
OPEN_HERE = "Stores found where new ones are kept"
PATH = "Store, exposure folder or workbook on this machine"
PATH_LIKE = "a path, or postgresql://user@host/database"
OPEN_IT = "Open it"
ONLY_LOCAL = (
    "This server is open to other machines, so that the source is named where it is started:"
)
COMMAND = "aging dashboard STORE"

ABOUT_SITES = (
    "1. Sites: a rack at each. A climate word (hot-humid, hot-dry, temperate) sharpens projections."
)
ABOUT_ADDITIVES = (
    "2. Formulations. First name what their recipes differ in, with the unit at the end."
)
ADDITIVES = "Composition columns, parted by commas"
ADDITIVES_LIKE = "such as silica_wt_pct, tio2_g_per_l"
ABOUT_FORMULATIONS = (
    "One has the role control: the others are compared with it. Rows can be pasted."
)
ABOUT_PANELS = (
    "3. Panels. Three of a formulation at a site is the least that shows a difference well."
)
REPLICATES, FILED = "Panels of each at each site", "File specimens of each, kept indoors"
ROWS = "Rows of a rack"
EXPOSED_ON, TILT, AZIMUTH = "Exposed on", "Tilt, °", "Facing, ° from north"
ABOUT_PLAN = "4. Visits, in months after exposure: dense while soiling runs fastest."
MONTHS = "Months, parted by commas"
ABOUT_INSTRUMENT = (
    "5. The instrument that reads solar reflectance. A claim asks for one weighting throughout and "
    "for a calibration that held on the day; you may also say it later."
)
REFLECTOMETER, CALIBRATION_DUE = "Instrument", "Calibrated until"
WEIGHTING, OTHER_WEIGHTING = "Solar spectrum it weights with", "another, or not known"
ABOUT_PLACE = (
    "6. Where the store is kept: a new file on this machine, or an empty postgresql:// database."
)
PLACE, BY = "New store", "Your name, for the record"
MAKE_IT = "Make the trial"
NOT_MADE = "Not made: "
MADE = "The trial is made and open."
SITE_COLUMNS = {
    "site": "Site (short)", "name": "Name", "climate": "Climate", "latitude_deg": "Latitude, °",
    "longitude_deg": "Longitude, °", "timezone": "Time zone",
}  # fmt: skip
FORMULATION_COLUMNS = {"formulation": "Formulation", "role": "Role", "description": "Description"}

NEXT_HEADING = "What to do next"
FIRST_VISIT = "Panels hang, and none has been read yet."
ADDRESS = "Address at which phones reach this page"
ADDRESS_HELP = (
    "It goes into the labels' codes. 127.0.0.1 is this machine alone: name people with `aging "
    "people`, then `aging dashboard STORE --phone` tells the address that phones reach."
)
LABELS, RACK_MAP = "Labels to print (PDF)", "Map of the rack (PDF)"
ROUND, ROUND_SITE = "Round sheet for a phone", "Site"
STEPS = (
    "Print the labels and hang the panels as on the map. Read every panel when new: what is lost "
    "later is counted from there. With a network at the rack log on the page; without one take the "
    "round sheet along."
)
TO_LOG = "Log first readings"
NO_PANELS = "This store holds no panel yet."
LOAD_OR_BEGIN = "Load a folder with panels, or start a trial of your own."

ANY = ("This page shows what readings tell.", "Log the first readings, or load those you have.")


ROW_ONE_IS_UP = "Row 1 is up; the order was drawn by lot."


def not_made(row: Any) -> str:
    """Why a trial is not made: a finding of the form."""
    where = f"{row.sheet}, line {row.row}, {row.column}"
    return f"{NOT_MADE}{where}: {row.seen or 'empty'}; allowed: {row.allowed}. {row.action}."


def rack(site: str) -> str:
    """Title of a rack's map."""
    return f"Rack at {site}"


@cache
def _empty() -> dict[str, tuple[str, str]]:
    with EMPTY.open(encoding="utf-8", newline="") as file:
        return {row["view"]: (row["shows"], row["do"]) for row in csv.DictReader(file)}


def empty(view: str) -> tuple[str, str]:
    """What a page without readings will show, and what to do for it."""
    return _empty().get(view or "ways", ANY)


def page(title: str) -> str:
    """Title of a page without readings: its own, or what opens the first visit."""
    return title or NEXT_HEADING


def hung(panels: int, filed: int, sites: int, formulations: int) -> str:
    """What a store without readings holds."""
    return (
        f"{panels} panels and {filed} file specimens of {formulations} formulations at {sites} "
        f"site{'s' * (sites != 1)}. {FIRST_VISIT}"
    )


def stated(weighting: str) -> str:
    """A weighting as the sheet keeps it; empty where it is not known."""
    return "" if weighting == OTHER_WEIGHTING else weighting
