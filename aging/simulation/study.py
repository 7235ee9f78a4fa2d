"""Campaigns by the hundred, for counting how often an interval holds.

A course is named with whatever disturbs it, as "late growth + storm + missing visits". The design
of a study is read often in its first year and every quarter after it; its instruments do not
drift, and no file specimens hang beside its panels.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from types import MappingProxyType
from typing import Any

import numpy as np

from aging.errors import require
from aging.records import Exposure
from aging.simulation.campaign import Campaign, simulate
from aging.simulation.courses import COURSES
from aging.simulation.merge import merge
from aging.simulation.scenario import Design, Scatter, coats

FIRST_YEAR = (0, 1, 2, 3, 4, 5, 6, 8, 9, 10.5, 12)
QUARTER, HALF_YEAR = 3, 6  # months
DISTURBANCES: MappingProxyType[str, dict[str, Any]] = MappingProxyType(
    {
        "storm": {"storm": True},
        "swap": {"swap": True},
        "missing visits": {"missing_visit": 0.25},
        "unequal panels": {"panels": 4, "least_panels": 1},
    }
)


def schedule(months: float) -> tuple[float, ...]:
    """Planned visits of a study, up to some months of exposure."""
    planned = (*FIRST_YEAR, *np.arange(12 + QUARTER, months + 1, QUARTER).tolist())
    return tuple(month for month in planned if month <= months)


STUDY = Design(
    formulations=coats(6),
    file_specimens=0,
    visits=schedule(36),
    scatter=Scatter(
        batch_initial=0.015, interaction=0.10, panel_initial=0.006, visit=0.8, visit_spread=0.3,
        drift=0.0, spot=1.15,
    ),
)  # fmt: skip


def study(course: str, design: Design | None = None) -> Design:
    """A design (`STUDY`) on a course, disturbed as its name says; CallError lists the names."""
    parts = [part.strip() for part in course.split("+")]
    for part in parts:
        require(part in (*COURSES, *DISTURBANCES), "course", part, (*COURSES, *DISTURBANCES))
    courses = [part for part in parts if part in COURSES]
    require(len(courses) <= 1, "course", course, "one course, and with + what disturbs it")
    changes: dict[str, Any] = {"course": courses[0]} if courses else {}
    for part in parts:
        changes |= DISTURBANCES.get(part, {})
    return replace(design or STUDY, **changes)


def sized(
    design: Design, *, months: int = 36, formulations: int = 6, panels: int | None = None
) -> Design:
    """A design read for so many months, of so many formulations and panels (None: as it is).

    The truth goes to 36 months, or as far as the readings.
    """
    known = max(months, 36)
    return replace(
        design,
        months=known,
        visits=schedule(months),
        marks=tuple(range(0, known + 1, HALF_YEAR)),
        formulations=coats(formulations),
        panels=panels or design.panels,
    )


def campaign_streams(
    course: str, n: int, seed: int, design: Design | None = None
) -> Iterator[Campaign]:
    """Yield `n` independent campaigns; each is the same whichever `n`, and the first is `seed`'s.

    Equal seeds give other courses the same weather, visits, formulations and panels.
    """
    planned = study(course, design)
    return (simulate(planned, (seed, number)) for number in range(n))


def precedents(course: str, n: int, seed: int, design: Design | None = None) -> Exposure:
    """`n` closed campaigns at the same sites, one after the other before the design's start.

    Their formulations are others (P1F1, ...), and each met its own years at a site. `merge` them
    with a running campaign of the same design.
    """
    planned = study(course, design)
    apart = timedelta(days=365 * (math.ceil(planned.visits[-1] / 12) + 1))
    return merge(
        [
            simulate(
                replace(
                    planned,
                    formulations=coats(len(planned.formulations), f"P{number}"),
                    exposed_on=planned.exposed_on - number * apart,
                    rack=f"P{number}",
                    closed=True,
                ),
                (seed, number, 1),
            ).exposure
            for number in range(1, n + 1)
        ]
    )
