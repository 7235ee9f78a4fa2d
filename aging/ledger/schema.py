"""The tables of the store, made from `records.SHEETS` so that the columns are named once.

Every sheet is a table of rows that are never changed: `id` counts them in the order in which they
were stored, `batch` says who stored them and when. Each has a twin among the temporary tables,
where a load puts its rows down before they are compared with the stored ones. Who may do what, and
who did what, stand apart from the sheets and leave with no export. A change here needs a new file
in `migrations/versions`; a test compares both.
"""

from __future__ import annotations

from sqlalchemy import Column, Double, ForeignKey, Index, Integer, MetaData, Table, Text

from aging.records import SHEETS, Sheet

METADATA = MetaData()
STAGING = MetaData()
BATCH = Table(
    "batch",
    METADATA,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("recorded_at", Text, nullable=False),
    Column("recorded_by", Text, nullable=False),
    Column("source", Text, nullable=False),
    Column("reason", Text),
)
SEAL = Table(
    "seal",
    METADATA,
    Column("batch", Integer, ForeignKey("batch.id"), primary_key=True, autoincrement=False),
    Column("content", Text, nullable=False),
    Column("digest", Text, nullable=False),
)
PEOPLE = Table(
    "people",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("at", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("person", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("value", Text, nullable=False),
    Column("digest", Text),
)
DEEDS = Table(
    "deeds",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("at", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("deed", Text, nullable=False),
    Column("on", Text, nullable=False),
    Column("through", Text, nullable=False),
    Column("digest", Text),
)
FROM_BATCH = ("recorded_by", "recorded_at")


def content(sheet: str) -> list[str]:
    """Columns that a row of this sheet carries itself, the JSON text of extra facts last."""
    return [*(name for name in SHEETS[sheet].names if name not in FROM_BATCH), "extra"]


def _columns(sheet: Sheet, *, strict: bool) -> list[Column[str] | Column[float]]:
    kinds = {column.name: column for column in sheet.columns}
    made: list[Column[str] | Column[float]] = []
    for name in content(sheet.name):
        known = kinds.get(name)
        own_id = sheet.name == "readings" and name == "reading_id"
        must = known is not None and (known.required or own_id)
        kind = Double() if known is not None and known.kind == "number" else Text()
        made.append(Column(name, kind, nullable=not (strict and must)))
    return made


def _fact_table(sheet: Sheet) -> Table:
    table = Table(
        sheet.name,
        METADATA,
        Column("id", Integer, primary_key=True),
        Column("batch", Integer, ForeignKey("batch.id"), nullable=False),
        *_columns(sheet, strict=True),
    )
    Index(f"{sheet.name}_key", *(table.c[name] for name in sheet.key), unique=sheet.fixed)
    return table


TABLES = {name: _fact_table(sheet) for name, sheet in SHEETS.items()}
STAGES = {
    name: Table(
        f"incoming_{name}",
        STAGING,
        *_columns(sheet, strict=False),
        Column("place", Integer),
        prefixes=["TEMPORARY"],
    )
    for name, sheet in SHEETS.items()
}
READINGS = TABLES["readings"]
Index("readings_read_on", READINGS.c.read_on)  # a visit asks for its day with every tap
_CORRECTIONS_ONLY = READINGS.c.supersedes.is_not(None)
Index(
    "readings_supersedes",
    READINGS.c.supersedes,
    unique=True,
    sqlite_where=_CORRECTIONS_ONLY,
    postgresql_where=_CORRECTIONS_ONLY,
)
