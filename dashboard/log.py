"""What the page of a visit knows: the store's panels, the round of today, and how to save.

The round looks at readings before today and changes slowly, so it is kept for some minutes; what
was read today is asked of the store on every run, for others may be on the same rack.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st

from aging.checks import own_limits
from aging.errors import LedgerError
from aging.fieldwork import visit
from aging.fieldwork.round_sheet import Asked, RoundSheet, ToRead, round_sheet
from aging.fieldwork.spots import Spots
from aging.ledger import Ledger, open_ledger
from aging.records import Exposure
from aging.source import open_source
from dashboard import entry

MINUTES = 60


@dataclass(frozen=True)
class Round:
    """One person's round: the sheet, the day so far, and what is chosen for all of its readings.

    gear: by property, the columns that its instrument fills; methods: letters of ratings; choices:
    all of these as their widgets held them when the page was drawn.
    """

    source: str
    exposure: Exposure
    sheet: RoundSheet
    day: visit.Day
    operator: str | None
    surface_state: str | None
    surface_wetness: str | None
    gear: Mapping[str, Mapping[str, str | float]]
    methods: Mapping[str, str | None]
    choices: Mapping[str, str | None]

    def token(self, panel: str, name: str) -> str:
        """Token of the next reading of a property on a panel."""
        return visit.token_of(
            self.day, self.source, panel, name, surface_state=self.surface_state or "",
            operator=self.operator or "",
        )  # fmt: skip


@st.cache_resource
def _last() -> dict[tuple[str, str], tuple[str, Any]]:
    """What each store said last of the facts and of a day."""
    return {}


def _or_last(what: str, source: str, on: str, ask: Callable[[], Any]) -> tuple[Any, str | None]:
    """The store's answer; the last one and why where it is lost: no form goes with a link."""
    try:
        _last()[what, source] = (on, ask())
    except LedgerError as error:
        if _last().get((what, source), ("never",))[0] != on:
            raise
        return _last()[what, source][1], str(error)
    return _last()[what, source][1], None


@st.cache_resource(ttl=5 * MINUTES, max_entries=2)
def known(source: str) -> Exposure:
    """All that the store held some minutes ago; AgingError where it was never read."""
    exposure: Exposure = _or_last("facts", source, "", lambda: open_source(source))[0]
    return exposure


@st.cache_resource(ttl=5 * MINUTES, max_entries=8)
def sheet(source: str, site: str, on: str, properties: tuple[str, ...] = ()) -> RoundSheet:
    """Round of a site on a day, see `round_sheet`; CallError where nothing hangs there."""
    return round_sheet(known(source), site, on, properties=properties, limits=own_limits(source))


def so_far(source: str, on: str) -> tuple[visit.Day, str | None]:
    """What the store holds of a day by now, or held when reached last, with the reason."""

    def ask() -> visit.Day:
        with open_ledger(source) as book:
            return _day(source, on, book.head, book)

    return _or_last("day", source, on, ask)


@st.cache_resource(show_spinner=False, max_entries=8)
def _day(source: str, on: str, head: str, _book: Ledger) -> visit.Day:  # noqa: ARG001 - keys
    return visit.day_so_far(_book, on)


def facts(frame: pd.DataFrame, column: str, name: str) -> dict[str, Any]:
    """The row of a sheet that a key names, empty where there is none."""
    rows = frame[frame[column] == name].to_dict("records")
    return rows[0] if rows else {}  # type: ignore[return-value]


def now(exposure: Exposure, site: str) -> datetime:
    """Local time at a site, or of the server where the site names no time zone."""
    zone = facts(exposure.sites, "site", site).get("timezone")
    return datetime.now(ZoneInfo(zone)) if isinstance(zone, str) else datetime.now().astimezone()


def last_of(day: visit.Day, sheet: RoundSheet) -> pd.DataFrame:
    """Readings of today on the panels of the round, in the order saved."""
    return day.readings[day.readings["panel"].isin([one.panel for one in sheet.panels])]


def reading(
    this: Round, asked: Asked, panel: ToRead, spots: Spots, more: Mapping[str, Any]
) -> dict[str, Any]:
    """A reading as a round file has it, taken now; a rating has no spots."""
    rated = bool(asked.steps)
    return {
        "panel": panel.panel, "property": asked.name, "value": spots.mean,
        "read_on": f"{now(this.exposure, this.sheet.site):%Y-%m-%dT%H:%M}",
        "spot_values": None if rated else list(spots.each),
        "spots": None if rated else len(spots.each), "spot_sd": None if rated else spots.sd,
        "surface_state": this.surface_state, "surface_wetness": this.surface_wetness,
        "operator": this.operator, "method": this.methods.get(asked.name),
        **this.gear.get(asked.name, {}), **more,
    }  # fmt: skip


def save(
    this: Round, row: Mapping[str, Any], token: str, *, another: bool, beside: Mapping[str, Any]
) -> visit.Saved:
    """Save a reading; AgingError where the store refuses."""
    with entry.doing(this.source, "log", str(row["panel"])) as book:
        day = _day(this.source, this.day.on, book.head, book)
        return visit.save(
            book, row, token, known=this.exposure, another=another, beside=beside, day=day
        )  # fmt: skip
