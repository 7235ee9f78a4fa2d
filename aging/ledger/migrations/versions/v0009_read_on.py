"""Find the readings of a day without going through all of them."""

from __future__ import annotations

from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Add the index."""
    op.create_index("readings_read_on", "readings", ["read_on"])
