"""What was claimed of a formulation, on which evidence, and how a claim ended."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

_TEXT = {
    "claims": "claim formulation property criterion sites basis rating wording evidence_digest"
    " made_by made_at extra",
    "claim_ends": "claim kind replaced_by reason ended_by ended_at extra",
}
_NUMBERS = {"claims": "months value estimate confidence evidence_revision"}
_OPTIONAL = {"criterion", "rating", "value", "estimate", "replaced_by", "extra"}


def upgrade() -> None:
    """Make both tables."""
    for sheet, text in _TEXT.items():
        numbers = _NUMBERS.get(sheet, "").split()
        op.create_table(
            sheet,
            sa.Column("id", sa.Integer, primary_key=True),
            sa.Column("batch", sa.Integer, sa.ForeignKey("batch.id"), nullable=False),
            *(sa.Column(n, sa.Text, nullable=n in _OPTIONAL) for n in text.split()),
            *(sa.Column(n, sa.Double, nullable=n in _OPTIONAL) for n in numbers),
        )
        op.create_index(f"{sheet}_key", sheet, ["claim"], unique=True)
