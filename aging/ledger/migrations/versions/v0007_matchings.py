"""What the headers of laboratories' own tables mean, as a person confirmed it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"

_TEXT = "layout sheet header meaning unit surface_state value extra"
_REQUIRED = {"layout", "sheet", "header"}


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "matchings",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("batch", sa.Integer, sa.ForeignKey("batch.id"), nullable=False),
        *(sa.Column(n, sa.Text, nullable=n not in _REQUIRED) for n in _TEXT.split()),
    )
    op.create_index("matchings_key", "matchings", ["layout", "header"])
