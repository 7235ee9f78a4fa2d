"""Planned visits as an iCalendar file (RFC 5545): one whole-day event each, of a lasting UID."""

from __future__ import annotations

from typing import Any
from uuid import NAMESPACE_URL, uuid5

import pandas as pd

from aging.fieldwork.round_sheet import CAUTIONS


def calendar(visits: pd.DataFrame, stamp: pd.Timestamp) -> bytes:
    """The file of `visits` (rows of a `visit_plan`); equal arguments give equal bytes.

    The UID is made of site, exposure start and months, so that a later file of the same plan
    changes events instead of adding them. stamp: when the file was made.
    """
    from icalendar import Calendar, Event

    book = Calendar()
    book.add("prodid", "-//aging//plan of visits//EN")
    book.add("version", "2.0")
    rows: list[Any] = list(visits.itertuples(index=False))
    for visit in rows:
        start, months = f"{visit.exposed_on:%Y-%m-%d}", f"{visit.months:g}"
        event = Event()
        event.add("uid", str(uuid5(NAMESPACE_URL, f"visit/{visit.site}/{start}/{months}")))
        event.add("dtstamp", stamp.tz_localize("UTC").to_pydatetime())
        event.add("dtstart", visit.due_on.date())
        event.add("dtend", (visit.due_on + pd.Timedelta(days=1)).date())
        event.add("transp", "TRANSPARENT")
        event.add("summary", f"Read {visit.site}: {months} months, {visit.panels} panels")
        event.add("description", "\n".join((
            f"{visit.panels} panels exposed on {start}.",
            f"Counts from {visit.opens_on:%Y-%m-%d} to {visit.closes_on:%Y-%m-%d}.",
            *CAUTIONS,
        )))  # fmt: skip
        book.add_component(event)
    return bytes(book.to_ical())
