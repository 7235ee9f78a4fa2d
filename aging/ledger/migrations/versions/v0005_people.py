"""Who may do what, and who did what."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

_TEXT = {"people": "at by person kind value", "deeds": "at who deed on through"}


def upgrade() -> None:
    """Make both tables."""
    for table, names in _TEXT.items():
        op.create_table(
            table,
            sa.Column("id", sa.Integer, primary_key=True),
            *(sa.Column(name, sa.Text, nullable=False) for name in names.split()),
        )
