"""The batch of paint that a panel was coated from."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Add the column."""
    op.add_column("panels", sa.Column("paint_batch", sa.Text))
