"""What soiled the panel of a spectrum."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Add the column."""
    op.add_column("spectra", sa.Column("evidence", sa.Text))
