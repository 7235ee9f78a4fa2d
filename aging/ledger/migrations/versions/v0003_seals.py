"""A seal for each batch: what it holds, and its digest in the chain over all batches.

Batches of an older store are sealed as they are found now; what was altered before stays unseen.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from aging.ledger.seals import contents, seal

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the table and seal what there is."""
    op.create_table(
        "seal",
        sa.Column(
            "batch", sa.Integer, sa.ForeignKey("batch.id"), primary_key=True, autoincrement=False
        ),
        sa.Column("content", sa.Text, nullable=False),
        sa.Column("digest", sa.Text, nullable=False),
    )
    conn, known = op.get_bind(), sa.MetaData()
    known.reflect(conn)
    sheets = {
        name: table
        for name, table in known.tables.items()
        if {"id", "batch"} <= set(table.c.keys())
    }
    seal(conn, known.tables["batch"], known.tables["seal"], contents(conn, sheets))
