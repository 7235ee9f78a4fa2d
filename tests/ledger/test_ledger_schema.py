from __future__ import annotations

import shutil

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from ledger_example import RECORDED, assert_equal, example
from sqlalchemy import Column, MetaData, Text, inspect

from aging.errors import LedgerError
from aging.ledger import migrate, open_ledger
from aging.ledger.schema import METADATA, TABLES
from aging.records import SHEETS

NEXT = """
import sqlalchemy as sa
from alembic import op

revision = "next"
down_revision = "{head}"


def upgrade():
    op.add_column("batch", sa.Column("device", sa.Text))
"""


def differences(ledger, metadata):
    with ledger._store.reading() as conn:  # noqa: SLF001
        options = {"version_table": migrate.VERSION_TABLE, "compare_type": True}
        return compare_metadata(MigrationContext.configure(conn, opts=options), metadata)


def test_the_migrations_make_the_tables_of_the_schema(ledger_url):
    with open_ledger(ledger_url, create=True) as ledger:
        assert differences(ledger, METADATA) == []


def test_a_schema_without_its_migration_would_be_seen(ledger_url):
    changed = MetaData()
    for table in METADATA.tables.values():
        table.to_metadata(changed)
    changed.tables["sites"].append_column(Column("forgotten", Text))
    changed.tables["readings"].c.value.nullable = True
    with open_ledger(ledger_url, create=True) as ledger:
        assert len(differences(ledger, changed)) == 2


def test_every_column_of_every_sheet_has_its_place():
    for sheet, table in TABLES.items():
        own = set(SHEETS[sheet].names) - set(RECORDED)
        assert set(table.columns.keys()) == own | {"id", "batch", "extra"}


@pytest.fixture
def next_release(tmp_path, monkeypatch):
    """Call to become a later release with one more migration."""
    steps = tmp_path / "100% later" / "migrations"
    shutil.copytree(migrate.STEPS, steps)
    head = max((steps / "versions").glob("v*.py")).name[1:5]
    (steps / "versions" / "v9999_next.py").write_text(NEXT.format(head=head))
    return lambda: monkeypatch.setattr(migrate, "STEPS", steps)


def test_an_older_store_is_migrated_with_its_facts(ledger_url, next_release):
    with open_ledger(ledger_url, create=True) as ledger:
        ledger.append(example(), by="Ada", source="a folder")
    next_release()
    with open_ledger(ledger_url) as ledger:
        assert_equal(ledger.read(), example(), but=RECORDED)
        with ledger._store.reading() as conn:  # noqa: SLF001
            names = [column["name"] for column in inspect(conn).get_columns("batch")]
    assert "device" in names


def test_a_store_of_a_newer_release_is_refused(ledger_url, next_release, monkeypatch):
    with monkeypatch.context():
        next_release()
        open_ledger(ledger_url, create=True).close()
    monkeypatch.undo()
    for create in (False, True):
        with pytest.raises(LedgerError, match=r"newer release.*next"):
            open_ledger(ledger_url, create=create)
