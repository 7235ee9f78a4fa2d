"""A digest in each row on people and deeds, chained to the row before.

Rows of an older store keep none: the first digest after them stands for them, as they are then.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Add the columns."""
    for table in ("people", "deeds"):
        op.add_column(table, sa.Column("digest", sa.Text))
