"""Bring a store to the shape that this release knows, or say why it cannot be used."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect

from aging.errors import EmptyStoreError, LedgerError
from aging.ledger.guards import VERSION_TABLE, guard
from aging.ledger.store import Store

STEPS = Path(__file__).parent / "migrations"


def bring_up_to_date(store: Store, *, create: bool) -> None:
    """Migrate an older store; make the tables of an empty one only where `create` says so."""
    known, newest = _steps(STEPS)
    with store.reading() as conn:
        version, empty = _state(conn)
    if version is None and not empty:
        raise LedgerError(f"store {store.label}: holds other tables; it is not a store of readings")
    if version is None and not create:
        raise EmptyStoreError(f"store {store.label}: is empty; load a folder into it first")
    if version is not None and version not in known:
        raise LedgerError(
            f"store {store.label}: was written by a newer release (its shape {version}, newest"
            f" known here {newest}); update this program"
        )
    if version == newest:
        return
    config = _config(STEPS)
    with store.writing() as conn:
        config.attributes.update(connection=conn, version_table=VERSION_TABLE)
        command.upgrade(config, "head")
        guard(conn)


def _config(where: Path) -> Config:
    config = Config()
    config.set_main_option("script_location", str(where).replace("%", "%%"))
    return config


@cache
def _steps(where: Path) -> tuple[frozenset[str], str | None]:
    """Every shape that this release knows, and the newest; pages ask with every run."""
    steps = ScriptDirectory.from_config(_config(where))
    return frozenset(step.revision for step in steps.walk_revisions()), steps.get_current_head()


def _state(conn: Connection) -> tuple[str | None, bool]:
    context = MigrationContext.configure(conn, opts={"version_table": VERSION_TABLE})
    return context.get_current_revision(), not inspect(conn).get_table_names()
