"""A store with one small rack, for the tests of a visit."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from aging import intake
from aging.ledger import open_ledger

PANELS = ("P1", "P2", "P3", "P4", "P5")


def fill(made: Path) -> Path:
    """A store with five panels on a rack at the equator, a roof patch, and one more site."""
    today = datetime.now(UTC).date()
    hung, read = today - timedelta(days=200), today - timedelta(days=30)
    (made / "sites.csv").write_text(
        "site,latitude_deg,longitude_deg,timezone\nHILL,0,0,UTC\nYARD,0,0,UTC\n"
    )
    rows = [*((one, "HILL", f"c{one[1]}", "exposed") for one in PANELS),
            ("R1", "HILL", "ponding 1", "roof_patch"), ("Y1", "YARD", "", "exposed")]  # fmt: skip
    (made / "panels.csv").write_text(
        "panel,formulation,site,exposed_on,rack,position,kind,tilt_deg\n"
        + "".join(f"{a},F,{b},{hung},A,{c},{d},0\n" for a, b, c, d in rows)
    )
    (made / "readings.csv").write_text(
        "panel,read_on,property,value,spots,instrument,weighting,method\n"
        + "".join(f"{one},{read},solar_reflectance,0.72,3,SR-1,G173,\n" for one, *_ in rows)
        + f"Y1,{read},chalking_astm,8,,,,D\n"
    )
    (made / "operators.csv").write_text("operator\nanna\nbert\n")
    store = made / "trial.sqlite"
    with open_ledger(store, create=True) as book:
        book.append(intake.read(made).exposure, by="desk", source="test")
    return store


def stored(store: Path):
    with open_ledger(store) as book:
        rows = book.history(since=f"{datetime.now(UTC):%Y-%m-%d}")
        return rows[rows["operator"].notna()]
