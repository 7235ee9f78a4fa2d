"""The first shape: batches, and one table for each sheet."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_TEXT = {
    "sites": "site name climate timezone extra",
    "formulations": "formulation role description extra",
    "panels": "panel formulation site exposed_on rack position backing substrate kind closed_on"
    " extra",
    "readings": "panel read_on property unit surface_state instrument weighting operator"
    " reading_id remark supersedes reason extra",
    "events": "on kind site panel remark extra",
    "weather": "site date extra",
}
_NUMBERS = {
    "sites": "latitude_deg longitude_deg elevation_m",
    "panels": "replicate tilt_deg azimuth_deg dry_film_um",
    "readings": "value spot_sd spots",
    "weather": "rain_mm temperature_C relative_humidity_pct solar_MJ_m2 uv_MJ_m2 pm10_ug_m3",
}
_REQUIRED = {
    "sites": "site",
    "formulations": "formulation",
    "panels": "panel formulation site exposed_on",
    "readings": "panel read_on property value reading_id",
    "events": "on kind",
    "weather": "site date",
}
_KEYS = {
    "sites": ["site"],
    "formulations": ["formulation"],
    "panels": ["panel"],
    "readings": ["reading_id"],
    "events": ["on", "kind", "site", "panel"],
    "weather": ["site", "date"],
}


def upgrade() -> None:
    """Make the tables and their indexes."""
    op.create_table(
        "batch",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("recorded_at", sa.Text, nullable=False),
        sa.Column("recorded_by", sa.Text, nullable=False),
        sa.Column("source", sa.Text, nullable=False),
        sa.Column("reason", sa.Text),
    )
    for sheet, key in _KEYS.items():
        required = _REQUIRED[sheet].split()
        op.create_table(
            sheet,
            sa.Column("id", sa.Integer, primary_key=True),
            sa.Column("batch", sa.Integer, sa.ForeignKey("batch.id"), nullable=False),
            *(sa.Column(n, sa.Text, nullable=n not in required) for n in _TEXT[sheet].split()),
            *(
                sa.Column(n, sa.Double, nullable=n not in required)
                for n in _NUMBERS.get(sheet, "").split()
            ),
        )
        op.create_index(f"{sheet}_key", sheet, key, unique=sheet == "readings")
    is_correction = sa.text("supersedes IS NOT NULL")
    op.create_index(
        "readings_supersedes",
        "readings",
        ["supersedes"],
        unique=True,
        sqlite_where=is_correction,
        postgresql_where=is_correction,
    )
